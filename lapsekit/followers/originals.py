"""What the grower put into the inbox, as it came: kept in ``taken/`` there, and gone in time.

Each file's name begins with its record's id, ``3f0c2a91d5b7e864-basil.jpg``. That is random, so
nothing but what was moved there by us is ever deleted, whatever folder somebody else's season
names. ``followers/inboxes.txt`` holds the folders, a line each: one that season.toml names no more
may still hold pictures.
"""

import os
import stat
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from lapsekit.errors import ChangedMeanwhile, FollowerError
from lapsekit.followers.records import FOLDER, is_id, place_of, private_folder, writing
from lapsekit.safely import allow, write_safely
from lapsekit.season import Season

TAKEN = "taken"
BESIDE = ".txt"
INBOXES = "inboxes.txt"

_LONGEST_STEM = 50
"""Letters of a file's name that are kept; with the id and a number they fit any file system."""

Mark = tuple[int, int, int, int]


@dataclass(frozen=True)
class Looked:
    """A file as it was when it was read."""

    path: Path
    mark: Mark

    def is_as_it_was(self) -> bool:
        """Whether that very file still lies there, unchanged."""
        try:
            found = self.path.lstat()
        except OSError:
            return False
        return stat.S_ISREG(found.st_mode) and _mark(found) == self.mark


def read_still(path: Path, most_bytes: int) -> tuple[bytes, Looked]:
    """The first bytes of a file that nobody writes to meanwhile.

    Raises
    ------
    ChangedMeanwhile
        If it was written to, or replaced, while it was read.
    OSError
        If it cannot be read.
    """
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    with os.fdopen(handle, "rb") as file:
        before = _mark(os.fstat(file.fileno()))
        data = file.read(most_bytes)
        after = _mark(os.fstat(file.fileno()))
    looked = Looked(path, before)
    if before != after or not looked.is_as_it_was():
        raise ChangedMeanwhile(f"{path}: changed while it was read")
    return data, looked


def _mark(found: os.stat_result) -> Mark:
    return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns


def keep_originals(season: Season, inbox: Path, record_id: str, files: Sequence[Looked]) -> None:
    """Move a picture, and the text beside it, into ``taken/`` under its record's id.

    Raises
    ------
    ChangedMeanwhile
        If one is no more what was read; nothing is moved then.
    FollowerError
        If the record is gone, or ``taken`` is no folder.
    """
    with writing(season):  # so that nobody takes it down meanwhile
        place_of(season, record_id)
        require_as_read(files)
        target = own_folder(inbox / TAKEN)
        _note_inbox(season, inbox)
        move(files, target, f"{record_id}-")


def require_as_read(files: Sequence[Looked]) -> None:
    """Refuse what is no more what was read, as `ChangedMeanwhile`."""
    for file in files:
        if not file.is_as_it_was():
            raise ChangedMeanwhile(f"{file.path}: changed since it was read")


def own_folder(folder: Path) -> Path:
    """Make a folder for other people's pictures, which only its owner can look into.

    Raises
    ------
    FollowerError
        If something else has its name, or is linked there.
    """
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise FollowerError(f"{folder}: is no folder of its own; move it away")
    if not folder.exists():
        folder.mkdir(mode=0o700)
        allow(folder, 0o700)
    return folder


def move(files: Sequence[Looked], target: Path, head: str = "", *more: str) -> tuple[str, ...]:
    """Move files of one stem under a name that is free for all, and for `more` endings.

    The text goes first: a picture that stays behind when this is cut off needs none.

    Returns
    -------
    tuple of str
        The new stem, then the new names.
    """
    first = head + files[0].path.stem[:_LONGEST_STEM]
    ends = {*(file.path.suffix for file in files), *more}
    taken = {path.name.casefold() for path in target.iterdir()}
    stems = (first, *(f"{first}-{n}" for n in range(2, 10_000)))
    stem = next(s for s in stems if not any((s + end).casefold() in taken for end in ends))
    for file in sorted(files, key=lambda file: file.path.suffix.lower() != BESIDE):
        file.path.rename(target / f"{stem}{file.path.suffix}")
    return stem, *(f"{stem}{file.path.suffix}" for file in files)


def erase_originals(season: Season, ids: Collection[str], only_texts: bool = False) -> list[str]:
    """Delete what lies in ``taken/`` of some records.

    Returns
    -------
    list of str
        A sentence for each that cannot be deleted. A folder that is not there, on a stick that is
        pulled out, say, is looked at again by `lapsekit.followers.gone.finish`.
    """
    problems = []
    for folder in _taken_folders(season):
        try:
            files = [] if folder.is_symlink() else sorted(folder.iterdir())
        except (FileNotFoundError, NotADirectoryError):
            continue
        except OSError as error:
            problems.append(f"{folder}: cannot be looked through ({error.strerror}); {_BY_HAND}")
            continue
        for file in files:
            text = file.suffix.lower() == BESIDE
            if _id_in(file) not in ids or file.is_symlink() or (only_texts and not text):
                continue
            try:
                file.unlink()
            except OSError as error:
                problems.append(f"{file}: cannot be deleted ({error.strerror}); {_BY_HAND}")
    return problems


_BY_HAND = "delete there by hand what was taken down, or whose time is over"


def _id_in(file: Path) -> str:
    found, dash, _ = file.name.partition("-")
    return found if dash and is_id(found) else ""


def _taken_folders(season: Season) -> Iterator[Path]:
    for told in _noted(season):
        yield season.folder / told / TAKEN


def _noted(season: Season) -> list[str]:
    file = season.folder / FOLDER / INBOXES
    text = file.read_text("utf-8", "surrogateescape") if file.is_file() else ""
    return [line for line in text.splitlines() if line]


def _note_inbox(season: Season, inbox: Path) -> None:
    inside = inbox.is_relative_to(season.folder)
    told = str(inbox.relative_to(season.folder) if inside else inbox)
    noted = _noted(season)
    if told not in noted:
        private_folder(season.folder / FOLDER)
        text = "".join(f"{line}\n" for line in (*noted, told))
        content = text.encode("utf-8", "surrogateescape")
        write_safely(season.folder / FOLDER / INBOXES, content, 0o600)
