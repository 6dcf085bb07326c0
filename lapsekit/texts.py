"""Text files of a season, read and written so that all that is not changed stays as it is."""

import os
import stat
from collections.abc import Callable
from pathlib import Path

from lapsekit.errors import SettingsError
from lapsekit.safely import write_safely

Edit = Callable[[str], str]
"""The text of a file, without its byte order mark, -> that text changed. "" is an absent file."""

_MARK = "\ufeff"


def read_whole(path: Path) -> str | None:
    """A file's text with byte order mark and line endings; None where there is no such file.

    Raises
    ------
    SettingsError
        If it is no UTF-8, or a link or folder: what is written would not go where it points.
    """
    try:
        kind = path.lstat().st_mode
        if not stat.S_ISREG(kind):
            raise SettingsError(f"{path} is a link or folder; put the file itself there")
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error}); save it in UTF-8") from error


def write_whole(path: Path, text: str | None) -> None:
    """Write a file's text whole or not at all, its permissions kept; None takes the file away."""
    if text is None:
        path.unlink(missing_ok=True)
        return
    mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else None
    write_safely(path, text.encode(), mode)


def bare(text: str | None) -> str:
    """A text without its byte order mark."""
    return (text or "").removeprefix(_MARK)


def edited(text: str | None, edit: Edit) -> str | None:
    """A whole text with an edit in it, its byte order mark kept; None stays if nothing comes."""
    before = bare(text)
    after = edit(before)
    if text is None:
        return after or None
    return text[: len(text) - len(before)] + after


def rewrite(path: Path, edit: Edit) -> None:
    """Change a file; the caller holds the texts' lock of its season."""
    before = read_whole(path)
    after = edited(before, edit)
    if after != before:
        write_whole(path, after)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk before anything else is written."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
