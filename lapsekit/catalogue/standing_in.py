"""A copy that stands in for the catalogue of a folder that cannot be written to.

SQLite notes who reads beside the file itself. Where somebody writes the original meanwhile, as its
owner may, that is there already and SQLite copies it as of one instant; where nobody has it open,
only its files are left to copy.
"""

import errno
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir

from lapsekit.catalogue.database import told
from lapsekit.errors import CatalogueError

_TRIES = 50
_PAUSE_S = 0.1
_FULL = (errno.ENOSPC, errno.EDQUOT)


@contextmanager
def stand_in(path: Path) -> Iterator[Path]:
    """A copy of a catalogue, for as long as it is needed.

    Parameters
    ----------
    path : pathlib.Path
        The original; nothing is written beside it.

    Yields
    ------
    pathlib.Path
        The copy: what the original held at one instant.

    Raises
    ------
    CatalogueError
        If there is none, it may not be read, or there is no room for a copy; names the original.
    """
    with ExitStack() as stack:
        with _plainly_told(path):
            folder = Path(stack.enter_context(TemporaryDirectory(prefix="lapsekit-")))
            copy = folder / path.name
            _copy(path, copy)
        yield copy


@contextmanager
def _plainly_told(path: Path) -> Iterator[None]:
    try:
        yield
    except PermissionError as error:  # of the original: the copy's folder is this user's own
        raise CatalogueError(
            f"{error.filename}: this user may not read it ({error.strerror}); ask its owner for "
            "that, or run the same command as its owner"
        ) from error
    except OSError as error:
        if error.errno in _FULL:
            why = f"there is no room for one in {gettempdir()}; set TMPDIR to a folder with room"
        else:
            why = f"none could be made ({error.strerror}); check its disk, and that of TMPDIR"
        raise CatalogueError(
            f"{path}: its folder cannot be written to, so a copy of it is read, and {why}"
        ) from error


def _copy(path: Path, copy: Path) -> None:
    for _ in range(_TRIES):
        for left in copy.parent.iterdir():
            left.unlink()
        if _is_copied(path, copy):
            return
        time.sleep(_PAUSE_S)
    raise CatalogueError(
        f"{path}: another process writes it all the while; run the same command again"
    )


def _is_copied(path: Path, copy: Path) -> bool:
    """Copy it in the way that its files ask for; False if that was torn by whoever writes it."""
    if not path.exists():
        raise CatalogueError(
            f"{path}: not there yet, and cannot be made, since its folder cannot be written to; "
            "copy the season folder to where you can write, and run lapsekit index there"
        )
    before = _state(path)
    try:
        if _shared(path).exists():
            _copy_of_one_instant(path, copy)
            return True
        _copy_files(path, copy)
    except (FileNotFoundError, CatalogueError):
        if _state(path).keys() == before.keys():
            raise
        return False  # its owner closed it meanwhile
    return _state(path) == before


def _copy_of_one_instant(path: Path, copy: Path) -> None:
    for file in _files(path):
        file.open("rb").close()  # SQLite does not say that it was not allowed to
    original = f"{path.absolute().as_uri()}?mode=ro&readonly_shm=1"
    with (
        told(path, copy),
        closing(sqlite3.connect(original, timeout=30, uri=True)) as source,
        closing(sqlite3.connect(copy)) as target,
    ):
        source.backup(target)


def _copy_files(path: Path, copy: Path) -> None:
    for file in _files(path):
        shutil.copyfile(file, copy.with_name(file.name))


def _state(path: Path) -> dict[str, tuple[int, int]]:
    """Of each of its files, when it was written and how large it is."""
    state = {}
    for file in _files(path):
        with suppress(FileNotFoundError):  # gone since
            stat = file.stat()
            state[file.name] = (stat.st_mtime_ns, stat.st_size)
    return state


def _files(path: Path) -> list[Path]:
    beside = (path.with_name(f"{path.name}-wal"), _shared(path))
    return [path, *(file for file in beside if file.exists())]


def _shared(path: Path) -> Path:
    """What SQLite keeps for all who have the file open; gone once the last closed it."""
    return path.with_name(f"{path.name}-shm")
