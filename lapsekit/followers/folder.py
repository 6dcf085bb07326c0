"""Stage: pictures that the grower put into a folder -> records that wait.

Beside ``basil.jpg`` there may be a ``basil.txt`` of lines like ``name: Ada``: who it is from and
what they agreed to, as the grower was told. Nothing is deleted when it is taken in: picture and
text go to ``taken/`` under their record's id (`lapsekit.followers.originals`), and leave it with
the record. What was refused goes to ``refused/`` (`lapsekit.followers.turned_away`). Every other
file stays as it is.
"""

import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.errors import ChangedMeanwhile, FollowerError, SettingsError
from lapsekit.followers import beside, coming_again, letters, originals, turned_away
from lapsekit.followers.answering import sender_of, with_answer
from lapsekit.followers.arrivals import Arrival
from lapsekit.followers.deciding import renew_code
from lapsekit.followers.gone import gone_ids
from lapsekit.followers.inbox import inbox_of
from lapsekit.followers.opener import MOST_BYTES
from lapsekit.followers.originals import BESIDE, Looked
from lapsekit.followers.receiving import Received, take_in
from lapsekit.followers.records import change, damaged, read_record
from lapsekit.followers.speaking import words_for
from lapsekit.season import Season
from lapsekit.trust import require_trust

SUFFIXES = {".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif"}

_STILL_S = 10.0
"""What was written to within so many seconds may not be whole yet."""

_STALLED_S = 600.0
"""A copy that stalls looks still, and is no picture yet: only then it is refused."""

_LETTER_WRITTEN = "a letter with its code was written"
STILL_WRITTEN = "still being written; look again in a minute"
CHANGED = "changed while it was looked at; look again in a minute"
TOO_MANY_WAIT = "too many pictures wait; say yes or no to some, then look again"
TWO_TEXTS = "two texts of its name lie beside it; leave one"
SHARED = (
    "{} lies beside more than one picture of that name; give each picture a name of its own, and "
    "each text that of its picture"
)
NOT_YET = "cannot be taken yet, and is refused if it stays so for ten minutes. {}"
WAS_DELETED = (
    "came before, and was deleted since: taken down, or its time was over. It is not taken in "
    "again; take it out of the folder"
)
IS_DAMAGED = (
    "came before; its record is damaged, or was deleted since. lapsekit followers list names "
    "damaged ones; mend it first"
)
DIFFERS = (
    "came before as {}, {}; picture and text stay here. Correct it at the desk, then take both out "
    "of the folder"
)


@dataclass
class FolderReport:
    """What became of a folder's pictures.

    Attributes
    ----------
    taken : list of (str, Received)
        File names, and what waits now.
    known : list of str
        Such as came before, and lie in ``taken/`` with their record's id now.
    left : list of (str, str)
        Such as stay in the folder for now, with the reason and what to do.
    refused : list of (str, str)
        With the reason.
    problems : list of str
        Texts that cannot be used (their pictures stay where they are), and what cannot be deleted.
    others : list of str
        Files that are neither pictures nor texts beside one; nothing is done to them.
    """

    taken: list[tuple[str, Received]] = field(default_factory=list)
    known: list[str] = field(default_factory=list)
    left: list[tuple[str, str]] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    others: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Pair:
    """A picture, and the text beside it."""

    picture: Path
    text: Path | None

    @property
    def files(self) -> list[Path]:
        return [self.picture] if self.text is None else [self.picture, self.text]

    def age_s(self) -> float:
        """For how long neither was written to; a file dated ahead counts from when it came."""
        now, found = time.time(), [file.lstat() for file in self.files]
        return min(now - (f.st_mtime if f.st_mtime <= now else f.st_ctime) for f in found)


def take_in_folder(season: Season) -> FolderReport:
    """Take in what lies in ``followers.inbox``.

    Raises
    ------
    NotTrusted
        If the season folder is not trusted.
    SettingsError
        If no such folder is named, it is not there, or it cannot be that one.
    """
    inbox = inbox_of(season.folder, season.settings)
    if inbox is None:
        raise SettingsError(f"{season.folder}: season.toml names no followers.inbox")
    named = season.settings.followers.inbox
    require_trust(season.folder, f"move pictures out of {named} into folders of its own there")
    if not inbox.is_dir():
        raise SettingsError(f"followers.inbox {inbox}: is no folder; make it, or name another")
    report = FolderReport()
    for pair in _pairs(inbox, report):
        _take_one(season, inbox, pair, report)
    turned_away.forget_refused(inbox, season.settings.followers.keep_declined_days)
    report.problems += originals.erase_originals(season, gone_ids(season.folder))
    return report


def _pairs(inbox: Path, report: FolderReport) -> Iterator[_Pair]:
    """Pictures whose text is beyond doubt; the report is told of the others."""
    files = [f for f in sorted(inbox.iterdir()) if f.is_file() and not f.is_symlink()]
    files = [f for f in files if not f.name.startswith(".")]
    pictures = [f for f in files if f.suffix.lower() in SUFFIXES and f.name.isprintable()]
    stems = Counter(file.stem for file in pictures)
    texts = [f for f in files if f.suffix.lower() == BESIDE and f.stem in stems]
    report.others += [file.name for file in files if file not in {*pictures, *texts}]
    for picture in pictures:
        beside_it = [text for text in texts if text.stem == picture.stem]
        if len(beside_it) > 1:
            report.left.append((picture.name, TWO_TEXTS))
        elif beside_it and stems[picture.stem] > 1:
            report.left.append((picture.name, SHARED.format(beside_it[0].name)))
        else:
            yield _Pair(picture, beside_it[0] if beside_it else None)


def _take_one(season: Season, inbox: Path, pair: _Pair, report: FolderReport) -> None:
    name = pair.picture.name
    try:
        age_s = pair.age_s()
        if age_s < _STILL_S:
            report.left.append((name, STILL_WRITTEN))
            return
        files, told, arrival = _read(season, pair)
        received = take_in(season, arrival)
        if received.refused:
            _refuse(inbox, files, received, age_s, report)
        elif received.id is None:
            report.left.append((name, IS_DAMAGED if damaged(season) else WAS_DELETED))
        else:
            _keep(season, inbox, files, received, (arrival, told), report)
    except ChangedMeanwhile:
        report.left.append((name, CHANGED))
    except FollowerError as error:
        report.problems.append(str(error))
    except OSError as error:
        report.problems.append(f"{pair.picture}: {error.strerror or error}; it stays there")


def _read(season: Season, pair: _Pair) -> tuple[list[Looked], dict[str, str], Arrival]:
    data, picture = originals.read_still(pair.picture, MOST_BYTES + 1)
    if pair.text is None:
        return [picture], {}, beside.arrival_of(season, pair.picture, data, None, {})
    words, text = originals.read_still(pair.text, beside.MOST_BYTES)
    told = beside.told_in(pair.text, words)
    return [picture, text], told, beside.arrival_of(season, pair.picture, data, pair.text, told)


def _refuse(
    inbox: Path, files: Sequence[Looked], received: Received, age_s: float, report: FolderReport
) -> None:
    name = files[0].path.name
    if received.is_for_now:
        report.left.append((name, TOO_MANY_WAIT))
    elif age_s < _STALLED_S:
        report.left.append((name, NOT_YET.format(received.refused)))
    else:
        turned_away.put_away(inbox, files, received.refused)
        report.refused.append((name, received.refused))


def _keep(
    season: Season,
    inbox: Path,
    files: Sequence[Looked],
    received: Received,
    came: tuple[Arrival, dict[str, str]],
    report: FolderReport,
) -> None:
    """Put the originals of a record aside, unless the text beside them says more than it."""
    name = files[0].path.name
    with suppress(FollowerError):  # it was taken down at once
        _keep_code(season, received.id, received.code)
    if not received.is_known:
        report.taken.append((name, received))
    elif differs := coming_again.fill_in(season, received.id, *came):
        state = read_record(season, received.id).state
        said = f"whose record ({state}) says something else of: {', '.join(differs)}"
        report.left.append((name, DIFFERS.format(received.id, said)))
        return
    originals.keep_originals(season, inbox, received.id, files)
    if received.is_known:
        report.known.append(name)


def _keep_code(season: Season, record_id: str, code: str | None) -> None:
    """Keep the code as a letter to be copied or sent: nobody may look at what a command prints."""
    record = read_record(season, record_id)
    if any(each.what == _LETTER_WRITTEN for each in record.history):
        return
    words, now = words_for(season, record.language), season.clock()
    codes = (code or renew_code(season, record_id),)  # None if it was cut off before this
    text = letters.received(words, sender_of(season), codes=codes)
    change(season, record_id, _LETTER_WRITTEN, lambda r: with_answer(r, "received", text, now))
