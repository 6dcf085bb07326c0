"""Write a file whole or not at all, and only where the grower can have meant it."""

import errno
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lapsekit.errors import SettingsError

#: How the names of files that are being written begin.
PART = ".part-"


_REMEDIES = {
    errno.ENOSPC: "the disk is full; free some space and run the same command again",
    errno.EDQUOT: "the disk quota is used up; free some space and run it again",
    errno.EROFS: "the disk is read-only; check the card and how it is mounted",
    errno.EACCES: "no permission to write there; check who owns the folder",
}


def remedy_of(error: OSError) -> str | None:
    """What to do about a disk that does not take a file; None where nobody knows."""
    return _REMEDIES.get(error.errno)


@contextmanager
def naming(path: Path) -> Iterator[None]:
    """Name the file in errors of the system that do not: a full disk's."""
    try:
        yield
    except OSError as error:
        error.filename = error.filename or str(path)
        raise


def part_of(path: Path) -> Path:
    """The temporary name, in the same folder, under which this thread writes `path`.

    The system gives no number to two threads or processes at once.
    """
    return path.with_name(f"{PART}{threading.get_native_id()}-{path.name}")


def remove_leftovers(folder: Path) -> None:
    """Delete what an interrupted write left in `folder`; the caller alone writes there."""
    for file in folder.glob(f"{PART}*"):
        file.unlink(missing_ok=True)


def write_safely(path: Path, content: bytes, mode: int | None = None) -> bool:
    """Write `content` to `path` by a temporary name in the same folder, then rename.

    Parameters
    ----------
    path : pathlib.Path
        Where to; its folder exists.
    content : bytes
        What the file shall hold.
    mode : int, optional
        Who may read it, whatever the process's umask says, where the file system knows that; by
        default as the umask says.

    Returns
    -------
    bool
        False if the file held just that already and was left alone.

    Raises
    ------
    OSError
        If it cannot be written; names a file.
    """
    if path.is_file() and path.read_bytes() == content:
        if mode is not None:
            allow(path, mode)
        return False
    part = part_of(path)
    try:
        with naming(path), part.open("wb") as file:
            if mode is not None:
                allow(part, mode)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return True


def allow(path: Path, mode: int) -> None:
    """Set who may use a file or folder, where its file system knows modes: that of a stick may not.

    Somebody else's stays as it is, too.
    """
    with suppress(OSError):
        path.chmod(mode)


def make_folders(folder: Path, mode: int) -> None:
    """Make a folder and those around it, all that are made of this mode whatever the umask says.

    Raises
    ------
    OSError
        If one cannot be made.
    """
    for each in [*reversed(folder.parents), folder]:
        if not each.is_dir():
            each.mkdir(mode=mode, exist_ok=True)
            allow(each, mode)


def leads_out(name: str) -> bool:
    """Whether a path that came from elsewhere leads out of the folder that it is meant for."""
    return name.startswith("/") or "\\" in name or ".." in name.split("/") or not name


def require_place(option: str, path: Path, *kinds: str) -> str:
    """Refuse a file to write that is of another kind, or in a folder that does not exist.

    Parameters
    ----------
    option : str
        The option of the command line that names it, like ``--out``.
    path : pathlib.Path
        The file.
    kinds : str
        Endings that are allowed, without their dot: ``png``.

    Returns
    -------
    str
        The kind that it is.

    Raises
    ------
    SettingsError
        Names option, file and what is allowed.
    """
    kind = path.suffix.lower().removeprefix(".")
    if kind not in kinds or not path.parent.is_dir():
        allowed = " or ".join(f".{each}" for each in kinds)
        raise SettingsError(f"{option} {path}: name a {allowed} file in a folder that exists")
    return kind
