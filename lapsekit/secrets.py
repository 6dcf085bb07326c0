"""Passwords come from systemd's credentials or from a file that only its owner can read."""

import os
from pathlib import Path

from lapsekit.errors import SettingsError

CREDENTIALS = "CREDENTIALS_DIRECTORY"
"""Where systemd puts what a unit's LoadCredential= names."""


def secret(name: str, folder: Path, key: str) -> str:
    """Read a secret.

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
    given = os.environ.get(CREDENTIALS)
    if given and "/" not in name and (file := Path(given, name)).is_file():
        return _first_line(file, key)
    file = folder / Path(name).expanduser()
    try:
        mode = file.stat().st_mode
    except OSError as error:
        raise SettingsError(
            f"{key} {file}: cannot be read ({error.strerror}); write the password into it, alone "
            f"in its first line, and run chmod 600 {file}"
        ) from error
    if mode & 0o077:
        raise SettingsError(f"{key} {file}: others can read it; run chmod 600 {file}")
    return _first_line(file, key)


def _first_line(file: Path, key: str) -> str:
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{key} {file}: cannot be read ({error})") from error
    if not lines or not lines[0]:
        raise SettingsError(f"{key} {file}: its first line is empty; write the password there")
    return lines[0]
