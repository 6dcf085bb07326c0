"""The records of followers' pictures, one folder each, and how they are changed.

    followers/waiting/3f0c2a91d5b7e864/record.json
    followers/waiting/3f0c2a91d5b7e864/picture.jpg
    followers/shown/…  followers/declined/…

The folder that a record lies in says what it is; its name is ours, and random. `picture.jpg` was
encoded here from pixels, and is all that is kept of what came. A record is written whole, under the
season's lock for texts, and moved by one rename.
"""

import re
import secrets
import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from lapsekit.errors import FollowerError
from lapsekit.followers.arrivals import Consent, Way
from lapsekit.locks import writing as hold_texts
from lapsekit.safely import PART, allow, write_safely
from lapsekit.season import Season

if TYPE_CHECKING:
    from pydantic import TypeAdapter

FOLDER, RECORD, PICTURE = "followers", "record.json", "picture.jpg"
STATES = ("waiting", "shown", "declined")
State = Literal["waiting", "shown", "declined"]
Box = tuple[int, int, int, int]
"""Left, top, right, bottom in px of `picture.jpg`; right and bottom lie outside."""

_ID = re.compile(r"[0-9a-f]{16}")
_ERASED, _MAKING = ".erased-", ".making-"
_PATIENCE_S = 60.0


@dataclass(frozen=True)
class Happening:
    """What was done with a picture, and when (UTC)."""

    at: datetime
    what: str


@dataclass(frozen=True)
class PictureFacts:
    """The kept picture: size in px, and SHA-256 of its file."""

    width: int
    height: int
    sha256: str


@dataclass(frozen=True)
class Answer:
    """An answer to whoever sent the picture.

    Attributes
    ----------
    kind : str
        Like ``received``, ``shown``.
    subject, text : str
    written_at : datetime
    sent_at : datetime or None
        None while nobody sent it; the desk shows it to be copied.
    """

    kind: str
    subject: str
    text: str
    written_at: datetime
    sent_at: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Record:
    """One follower's picture; see `lapsekit.followers.arrivals.Arrival` for what they told.

    Attributes
    ----------
    id : str
        Sixteen hexadecimal digits, random.
    state : {"waiting", "shown", "declined"}
    came_at : datetime
    by : {"mail", "upload", "folder"}
    file_name, name, plant, caption, contact, language : str
        A stranger's, on one line and of bounded length.
    region : str
        Name of the region of regions.toml that the plant is held against; "" for none.
    sown, taken_on : date or None
    age_days : int or None
        Plant age in days; None without a sowing date.
    consent : Consent or None
    is_confirmed : bool or None
        Whether whoever sent it showed that the mailbox is theirs; None where nobody asks.
    code_hash : str
        Of the take-down code; see `lapsekit.followers.codes`.
    token_hash : str
        Of the token that a confirming mail must hold; "" for none.
    source_hash : str
        Of `Arrival.source`.
    thread : str
        What answers refer to (the Message-ID); "" for none.
    picture : PictureFacts
    likeness : str
        A difference hash, hexadecimal.
    near : tuple of str
        Ids of pictures that look nearly the same.
    notes : tuple of str
        What was dropped or doubtful when it came, in sentences for the grower.
    crop : Box or None
        What of the picture is shown; None for all.
    blurred : tuple of Box
        What is made unrecognisable, for good once it is shown.
    asked : str
        What was asked of whoever sent it, and is not answered; "" for nothing.
    decided_at : datetime or None
        When it was last shown or declined.
    answers : tuple of Answer
    history : tuple of Happening
    """

    id: str
    state: State
    came_at: datetime
    by: Way
    file_name: str = ""
    name: str = ""
    plant: str = ""
    region: str = ""
    sown: date | None = None
    taken_on: date | None = None
    age_days: int | None = None
    caption: str = ""
    contact: str = ""
    language: str = "en"
    consent: Consent | None = None
    is_confirmed: bool | None = None
    code_hash: str = ""
    token_hash: str = ""
    source_hash: str = ""
    thread: str = ""
    picture: PictureFacts
    likeness: str = ""
    near: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    crop: Box | None = None
    blurred: tuple[Box, ...] = ()
    asked: str = ""
    decided_at: datetime | None = None
    answers: tuple[Answer, ...] = ()
    history: tuple[Happening, ...] = ()


def new_id() -> str:
    """A name for a record that nobody can guess."""
    return secrets.token_hex(8)


def is_id(text: str) -> bool:
    """Whether a text can be a record's id."""
    return _ID.fullmatch(text) is not None


def writing(season: Season) -> AbstractContextManager[None]:
    """Hold the season's lock for texts."""
    return hold_texts(season.folder, "followers", _PATIENCE_S)


def place_of(season: Season, record_id: str) -> Path:
    """Folder of a record.

    Raises
    ------
    FollowerError
        If there is none of that id; a text that is no id never becomes a path.
    """
    if is_id(record_id):
        for state in STATES:
            folder = season.folder / FOLDER / state / record_id
            if folder.is_dir():
                return folder
    raise FollowerError(
        f'no follower\'s picture "{record_id[:40]}" in {season.folder / FOLDER}; lapsekit '
        "followers list names those that are there"
    )


def read_record(season: Season, record_id: str) -> Record:
    """One record.

    Raises
    ------
    FollowerError
        If there is none, or it is damaged.
    """
    return _read(place_of(season, record_id))


def records(season: Season, state: State | None = None) -> list[Record]:
    """Records that can be read, in the order in which they came; of one state, or all."""
    found = [record for _, record in _all(season, state) if isinstance(record, Record)]
    return sorted(found, key=lambda record: (record.came_at, record.id))


def damaged(season: Season) -> list[str]:
    """A sentence for each record that cannot be read; such a picture is never shown."""
    return [str(record) for _, record in _all(season, None) if not isinstance(record, Record)]


def read_picture(season: Season, record_id: str, state: State | None = None) -> bytes:
    """The kept picture, a JPEG as it lies there: neither cropped nor, while it waits, blurred.

    Raises
    ------
    FollowerError
        If there is none, or it is not in `state` (any more).
    """
    folder = place_of(season, record_id)
    file = (folder if state is None else folder.parents[1] / state / folder.name) / PICTURE
    try:
        return file.read_bytes()
    except OSError as error:
        raise FollowerError(f"{file}: cannot be read ({error.strerror})") from error


def change(season: Season, record_id: str, what: str, alter: Callable[[Record], Record]) -> Record:
    """Change a record under the lock for texts.

    Parameters
    ----------
    season : Season
    record_id : str
    what : str
        What its history says; "" for nothing.
    alter : callable
        Given the record as it is now, gives it as it shall be; with another `state` it is moved.
        What it raises goes to the caller, and nothing is changed.

    Returns
    -------
    Record
    """
    with writing(season):
        folder = place_of(season, record_id)
        before = _read(folder)
        after = alter(before)
        if what:
            now = Happening(season.clock(), what)
            after = replace(after, history=(*after.history, now))
        if after != before:
            write_record(folder, after)
        if after.state != before.state:
            target = season.folder / FOLDER / after.state / record_id
            private_folder(target.parent)
            folder.rename(target)
    return after


def write_record(folder: Path, record: Record) -> None:
    """Write a record into its folder; the caller holds the lock for texts."""
    write_safely(folder / RECORD, _form().dump_json(record, indent=2) + b"\n", 0o600)


def write_picture(folder: Path, picture: bytes) -> None:
    """Write the kept picture into a record's folder; the caller holds the lock for texts."""
    write_safely(folder / PICTURE, picture, 0o600)


def add_record(season: Season, record: Record, picture: bytes) -> None:
    """File a new record whole, by one rename; the caller holds the lock for texts."""
    base = season.folder / FOLDER
    making, target = base / f"{_MAKING}{record.id}", base / record.state / record.id
    private_folder(making)
    private_folder(target.parent)
    write_picture(making, picture)
    write_record(making, record)
    making.rename(target)


def erase(season: Season, record_id: str) -> None:
    """Delete a record with its picture; gone at once, whenever this is cut off.

    The caller holds the lock for texts.
    """
    folder = place_of(season, record_id)
    aside = season.folder / FOLDER / f"{_ERASED}{record_id}"
    shutil.rmtree(aside, ignore_errors=True)
    folder.rename(aside)
    shutil.rmtree(aside)


def sweep(season: Season) -> None:
    """Delete what an interrupted filing or erasing left; the caller holds the lock for texts."""
    base = season.folder / FOLDER
    for left in (*base.glob(f"{_ERASED}*"), *base.glob(f"{_MAKING}*")):
        shutil.rmtree(left)
    for part in base.glob(f"*/*/{PART}*"):
        part.unlink(missing_ok=True)


def private_folder(folder: Path) -> None:
    """Make a folder that only its owner can look into: it holds other people's data."""
    for each in (folder.parent, folder):
        if not each.is_dir():
            each.mkdir(mode=0o700, parents=True, exist_ok=True)
            allow(each, 0o700)


def _all(season: Season, state: State | None) -> Iterator[tuple[Path, Record | FollowerError]]:
    for each in STATES if state is None else (state,):
        for folder in sorted((season.folder / FOLDER / each).glob("*")):
            if not is_id(folder.name):
                continue
            try:
                yield folder, _read(folder)
            except FollowerError as error:
                if folder.is_dir():  # moved meanwhile it is no fault
                    yield folder, error


def _read(folder: Path) -> Record:
    file = folder / RECORD
    try:
        record = _form().validate_json(file.read_bytes())
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no such record"
        raise FollowerError(
            f"{file}: cannot be read ({reason}); the picture is not shown. Mend the file, or take "
            f"the picture down with lapsekit followers take-down {folder.name}"
        ) from error
    return replace(record, id=folder.name, state=folder.parent.name)


@cache
def _form() -> "TypeAdapter[Record]":
    from pydantic import TypeAdapter

    return TypeAdapter(Record)
