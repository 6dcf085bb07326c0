"""Passwords and addresses: from systemd's credentials or a file that only its owner can read."""

import os
import tomllib
from pathlib import Path
from typing import Any

from lapsekit.errors import SettingsError

CREDENTIALS = "CREDENTIALS_DIRECTORY"
"""Where systemd puts what a unit's LoadCredential= names."""


def secret(name: str, folder: Path, key: str) -> str:
    """Read a secret of one line.

    Parameters
    ----------
    name : str
        Name of a systemd credential, or else a file: absolute, from ``~``, or in `folder`.
    folder : pathlib.Path
        The season folder.
    key : str
        The setting that names it, for messages.

    Returns
    -------
    str
        The first line.

    Raises
    ------
    SettingsError
        If there is none, it is empty, or others than its owner can read the file.
    """
    file = _guarded(name, folder, key, "the password into it, alone in its first line,")
    lines = _lines(file, key)
    if not lines or not lines[0]:
        raise SettingsError(f"{key} {file}: its first line is empty; write the password there")
    return lines[0]


def secret_lines(name: str, folder: Path, key: str) -> list[tuple[int, str]]:
    """Read a secret of several lines; those that are empty or begin with # are passed over.

    Parameters as for `secret`.

    Returns
    -------
    list of (int, str)
        Each line with its number in the file.

    Raises
    ------
    SettingsError
        If there is no such file, no line in it, or others than its owner can read it.
    """
    file = _guarded(name, folder, key, "one address a line into it")
    numbered = ((n, line.strip()) for n, line in enumerate(_lines(file, key), start=1))
    found = [(n, line) for n, line in numbered if line and not line.startswith("#")]
    if not found:
        raise SettingsError(f"{key} {file}: no address in it; write one a line")
    return found


def secret_table(name: str, folder: Path, key: str) -> dict[str, Any]:
    """Read a secret that is a table of TOML.

    Parameters as for `secret`.

    Returns
    -------
    dict

    Raises
    ------
    SettingsError
        If there is no such file, it is not TOML, or others than its owner can read it.
    """
    file = _guarded(name, folder, key, 'a line a value, like key = "...", into it')
    try:
        return tomllib.loads("\n".join(_lines(file, key)))
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{key} {file}: not valid TOML: {error}") from None


def _guarded(name: str, folder: Path, key: str, what: str) -> Path:
    """The credential, or the file once it is sure that nobody else can read it."""
    given = os.environ.get(CREDENTIALS)
    if given and "/" not in name and (file := Path(given, name)).is_file():
        return file
    file = folder / Path(name).expanduser()
    try:
        mode = file.stat().st_mode
    except OSError as error:
        raise SettingsError(
            f"{key} {file}: cannot be read ({error.strerror}); write {what} and run chmod 600 "
            f"{file}"
        ) from error
    if mode & 0o077:
        raise SettingsError(f"{key} {file}: others can read it; run chmod 600 {file}")
    return file


def _lines(file: Path, key: str) -> list[str]:
    try:
        return file.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise SettingsError(f"{key} {file}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError:
        raise SettingsError(f"{key} {file}: is no text; save it in UTF-8") from None
