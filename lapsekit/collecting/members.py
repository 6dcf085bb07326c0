"""A collection opened: which season folders it has, and each of them in turn."""

import difflib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from lapsekit.errors import ClusterGone, LapsekitError, SettingsError
from lapsekit.season import CATALOGUE_FILE, SETTINGS_FILE, Season
from lapsekit.settings import Listed, load_collection
from lapsekit.when import Clock, system_clock

Result = TypeVar("Result")


@dataclass(frozen=True)
class Member:
    """One season of a collection.

    Attributes
    ----------
    key : str
        Its folder as seen from the collection's file: no other season has it.
    folder : pathlib.Path
    own_title, own_bench : str or None
        What the collection's file calls season and bench.
    on_index : bool or None
        Whether the index shows it; None if it does so once the season is published.
    """

    key: str
    folder: Path
    own_title: str | None
    own_bench: str | None
    on_index: bool | None

    @property
    def bench(self) -> str:
        """Name of the bench; the folder's where the file gives none."""
        return self.own_bench or self.folder.resolve().name

    def title(self, season: Season) -> str:
        """What tables and pages call it."""
        return self.own_title or season.settings.season.title

    def address(self, base: str) -> str:
        """Where its frames lie, if those of all seasons lie below `base` by their folders' names.

        Raises
        ------
        SettingsError
            If its folder is not below the collection's file, so that it has no place there.
        """
        if ".." in Path(self.key).parts:
            raise SettingsError(
                f"{self.key}: not below the collection's file, so that its frames have no place "
                f"under --frames-at {base}; move the file up, or measure this season by itself"
            )
        return base if self.key == "." else f"{base.rstrip('/')}/{self.key}"

    @property
    def has_catalogue(self) -> bool:
        """Whether anything was ever noted of it; opening a catalogue would make one."""
        return (self.folder / CATALOGUE_FILE).is_file()


@dataclass(frozen=True)
class Broken:
    """A season, or a line of the file, that could not be used, and why."""

    key: str
    why: str


@dataclass(frozen=True)
class Collection:
    """A collection's file, and the season folders that it stands for.

    Attributes
    ----------
    file : pathlib.Path
    title, language : str
    crops : dict of str to tuple of str
        Patterns of the names of regions that are one crop.
    members : list of Member
        In the file's order; those of a pattern by their names.
    absent : list of Broken
        Lines that name no season folder.
    """

    file: Path
    title: str
    language: str
    crops: dict[str, tuple[str, ...]]
    members: list[Member]
    absent: list[Broken]

    @property
    def folder(self) -> Path:
        """Where the file lies."""
        return self.file.parent


@dataclass(frozen=True)
class Done(Generic[Result]):
    """What became of one season: a result, or why there is none."""

    member: Member
    result: Result | None
    broken: Broken | None = None


def open_collection(file: Path) -> Collection:
    """Read a collection's file and find its season folders, without opening any.

    Raises
    ------
    SettingsError
        If the file holds something that cannot be used.
    """
    told = load_collection(file)
    found: dict[Path, Member] = {}
    absent = []
    for listed in told.season:
        folders = _folders(file.parent, listed)
        for folder in folders:
            key = Path(os.path.relpath(folder, file.parent)).as_posix()
            member = Member(key, folder, listed.title, listed.bench, listed.on_index)
            found.setdefault(folder.resolve(), member)
        if not folders:
            absent.append(Broken(listed.folder, _nothing_there(file, listed)))
    return Collection(file, told.title, told.language, told.crops, list(found.values()), absent)


def _folders(base: Path, listed: Listed) -> list[Path]:
    if not listed.is_pattern:
        folder = base / listed.folder
        return [folder] if folder.is_dir() else []
    pattern = Path(listed.folder)
    top = Path(pattern.anchor) if pattern.is_absolute() else base
    found = top.glob(str(pattern.relative_to(pattern.anchor)))
    return [folder for folder in sorted(found) if (folder / SETTINGS_FILE).is_file()]


def _nothing_there(file: Path, listed: Listed) -> str:
    told = f'{file}: folder = "{listed.folder}"'
    if listed.is_pattern:
        return f"{told}: no folder of such a name holds a {SETTINGS_FILE}"
    wanted = file.parent / listed.folder
    beside = wanted.parent.iterdir() if wanted.parent.is_dir() else ()
    names = [each.name for each in beside if (each / SETTINGS_FILE).is_file()]
    near = difflib.get_close_matches(wanted.name, names, n=1)
    hint = f'; did you mean "{Path(listed.folder).parent / near[0]}"?' if near else ""
    return f"{told}: there is no such folder{hint or '; is its disk mounted?'}"


def in_turn(
    collection: Collection,
    work: Callable[[Season, Member], Result],
    clock: Clock = system_clock,
) -> Iterator[Done[Result]]:
    """Do something with each season, one open at a time, in the file's order.

    Yields
    ------
    Done
        A season that cannot be read, or is held by somebody else, says why.

    Raises
    ------
    ClusterGone
        If the machines that all of them are worked on are gone.
    """
    for member in collection.members:
        try:
            with opened(member, clock) as season:
                result = work(season, member)
        except ClusterGone:  # the others would wait for it one by one
            raise
        except (LapsekitError, OSError) as error:
            yield Done(member, None, Broken(member.key, _why(error)))
        else:
            yield Done(member, result)


@contextmanager
def opened(member: Member, clock: Clock = system_clock) -> Iterator[Season]:
    """A season while it is needed; its catalogue, a copy if need be, is closed after."""
    season = Season(member.folder, clock)
    try:
        with season.catalogue_to_read():
            yield season
    finally:
        season.reopen_catalogue()  # closes it: nobody uses it again


def _why(error: LapsekitError | OSError) -> str:
    if isinstance(error, LapsekitError):
        return str(error)
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}; check the disk and its permissions"
