"""Stage: pictures that the grower put into a folder -> records that wait.

Beside ``basil.jpg`` there may be a ``basil.txt`` of lines like ``name: Ada``: who it is from and
what they agreed to, as the grower was told. What was taken in is deleted in that folder, once its
record is written: whoever has a picture taken down must not find it there. What was refused goes to
``refused/`` with a word why, and is deleted after the days for which declined ones are kept.
"""

import hashlib
import os
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from lapsekit.errors import FollowerError, SettingsError
from lapsekit.followers import letters
from lapsekit.followers.answering import sender_of, with_answer
from lapsekit.followers.arrivals import Arrival, Consent
from lapsekit.followers.deciding import renew_code
from lapsekit.followers.opener import MOST_BYTES
from lapsekit.followers.receiving import Received, take_in
from lapsekit.followers.records import change, read_record
from lapsekit.followers.speaking import words_for
from lapsekit.followers.told_lines import day_told, yes_or_no
from lapsekit.followers.wordings import wording
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.trust import require_trust
from lapsekit.when import local_day

REFUSED = "refused"
BESIDE = ".txt"

_STILL_S = 10.0
"""What was written to within so many seconds may not be whole yet."""

_BESIDE_BYTES = 100_000
_KEYS = (
    "name",
    "plant",
    "sown",
    "taken",
    "caption",
    "contact",
    "language",
    "agreed",
    "of age",
    "parent",
)
_LETTER_WRITTEN = "a letter with its code was written"
STILL_WRITTEN = "still being written; look again in a minute"
TOO_MANY_WAIT = "too many pictures wait; say yes or no to some, then look again"


@dataclass
class FolderReport:
    """What became of a folder's pictures.

    Attributes
    ----------
    taken : list of (str, Received)
        File names, and what waits now.
    known : list of str
        Such as came before.
    left : list of (str, str)
        Such as stay in the folder for now, with the reason and what to do.
    refused : list of (str, str)
        With the reason.
    problems : list of str
        Texts that cannot be used; their pictures stay where they are.
    """

    taken: list[tuple[str, Received]] = field(default_factory=list)
    known: list[str] = field(default_factory=list)
    left: list[tuple[str, str]] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def take_in_folder(season: Season) -> FolderReport:
    """Take in what lies in ``followers.inbox``.

    Raises
    ------
    NotTrusted
        If the season folder is not trusted.
    SettingsError
        If no such folder is named, or it is not there.
    """
    named = season.settings.followers.inbox
    if named is None:
        raise SettingsError(f"{season.folder}: season.toml names no followers.inbox")
    require_trust(season.folder, f"take pictures out of {named} and delete them there")
    inbox = season.folder / Path(named).expanduser()
    if not inbox.is_dir():
        raise SettingsError(f"followers.inbox {inbox}: is no folder; make it, or name another")
    report = FolderReport()
    for file in _pictures(inbox):
        if time.time() - file.stat().st_mtime < _STILL_S:
            report.left.append((file.name, STILL_WRITTEN))
        else:
            _take_one(season, file, report)
    _forget_refused(season, inbox / REFUSED)
    return report


def _pictures(inbox: Path) -> Iterator[Path]:
    for file in sorted(inbox.iterdir()):
        hidden = file.name.startswith(".") or file.suffix.lower() == BESIDE
        if not hidden and file.is_file() and not file.is_symlink():
            yield file


def _take_one(season: Season, file: Path, report: FolderReport) -> None:
    try:
        arrival = _arrival(season, file)
    except FollowerError as error:
        report.problems.append(str(error))
        return
    received = take_in(season, arrival)
    if received.id is not None:
        with suppress(FollowerError):  # it was taken down at once
            _keep_code(season, received.id, received.code)
    if received.is_for_now:
        report.left.append((file.name, TOO_MANY_WAIT))
    elif received.refused:
        report.refused.append((file.name, received.refused))
        _put_away(file, received.refused)
    else:
        _delete(file)
        if received.is_known:
            report.known.append(file.name)
        else:
            report.taken.append((file.name, received))


def _keep_code(season: Season, record_id: str, code: str | None) -> None:
    """Keep the code as a letter to be copied or sent: nobody may look at what a command prints."""
    record = read_record(season, record_id)
    if any(each.what == _LETTER_WRITTEN for each in record.history):
        return
    words, now = words_for(season, record.language), season.clock()
    codes = (code or renew_code(season, record_id),)  # None if it was cut off before this
    text = letters.received(words, sender_of(season), codes=codes)
    change(season, record_id, _LETTER_WRITTEN, lambda r: with_answer(r, "received", text, now))


def _arrival(season: Season, file: Path) -> Arrival:
    with file.open("rb") as opened:
        data = opened.read(MOST_BYTES + 1)
    told = _told(file.with_suffix(BESIDE))
    now = season.clock()
    today = local_day(now, season.zone)
    return Arrival(
        data=data,
        came_at=now,
        by="folder",
        source=f"folder {hashlib.sha256(data).hexdigest()}",
        file_name=file.name,
        name=told.get("name", ""),
        plant=told.get("plant", ""),
        sown=_day(file, told, "sown", today),
        taken_on=_day(file, told, "taken", today),
        caption=told.get("caption", ""),
        contact=told.get("contact", ""),
        language=told.get("language", season.settings.site.language),
        consent=_consent(season, file, told, now),
    )


def _told(file: Path) -> dict[str, str]:
    """Lines ``key: value`` of a text beside a picture; nothing where there is none."""
    if not file.is_file() or file.is_symlink():
        return {}
    try:
        with file.open(encoding="utf-8-sig") as opened:
            lines = opened.read(_BESIDE_BYTES).splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise FollowerError(
            f"{file}: cannot be read ({error}); save it as text in UTF-8"
        ) from error
    told = {}
    for number, line in enumerate(lines, start=1):
        key, colon, value = line.partition(":")
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        if not colon or key.strip().lower() not in _KEYS:
            raise FollowerError(
                f'{file}: line {number} "{line[:60]}": write lines like name: Ada; known are '
                f"{', '.join(_KEYS)}"
            )
        told[key.strip().lower()] = value.strip()
    return told


def _day(file: Path, told: dict[str, str], key: str, today: date) -> date | None:
    text = told.get(key, "")
    day = day_told(text, today)
    if text and day is None:
        raise FollowerError(
            f'{file.with_suffix(BESIDE)}: {key}: "{text[:40]}" is no day; write one like 2031-04-17'
        )
    return day


def _consent(season: Season, file: Path, told: dict[str, str], now: datetime) -> Consent | None:
    agreed = told.get("agreed", "")
    has_agreed = yes_or_no(agreed) if agreed else False
    if has_agreed is None:
        raise FollowerError(
            f'{file.with_suffix(BESIDE)}: agreed: "{agreed[:40]}": write yes if whoever sent it '
            "agreed to the consent text, and no otherwise; for a child, parent: NAME too"
        )
    if not has_agreed:
        return None
    is_adult, parent = yes_or_no(told.get("of age", "")), told.get("parent", "")
    if not is_adult and not parent:
        raise FollowerError(
            f"{file.with_suffix(BESIDE)}: who agreed? Write of age: yes; for a child parent: NAME"
        )
    text = wording(season, told.get("language", season.settings.site.language))
    return Consent(
        wording=text.version,
        language=text.language,
        agreed_at=now,
        how=f"told by the grower in {file.with_suffix(BESIDE).name}",
        is_adult=not parent,
        parent=parent,
    )


def _delete(file: Path) -> None:
    """Delete what has a record now; the text first, since a picture that came before needs none."""
    beside = file.with_suffix(BESIDE)
    if beside.is_file() and not beside.is_symlink():
        beside.unlink()
    file.unlink()


def _forget_refused(season: Season, folder: Path) -> None:
    """Delete what was refused long ago."""
    if not folder.is_dir() or folder.is_symlink():
        return
    oldest = time.time() - 86_400 * season.settings.followers.keep_declined_days
    for file in folder.iterdir():
        if file.is_file() and not file.is_symlink() and file.stat().st_mtime < oldest:
            file.unlink()


def _put_away(file: Path, why: str) -> None:
    """Move a refused picture, and the text beside it; a second one of a name gets a number."""
    target = file.parent / REFUSED
    target.mkdir(exist_ok=True)
    stems = (file.stem, *(f"{file.stem}-{n}" for n in range(2, 10_000)))
    stem = next(s for s in stems if not any((target / (s + end)).exists() for end in _ends(file)))
    beside = file.with_suffix(BESIDE)
    os.utime(file)  # how long it is kept counts from now
    if beside.is_file() and not beside.is_symlink():
        os.utime(beside)
        beside.rename(target / f"{stem}{BESIDE}")
    write_safely(target / f"{stem}.why{BESIDE}", f"{why}\n".encode())
    file.rename(target / f"{stem}{file.suffix}")


def _ends(file: Path) -> tuple[str, ...]:
    return file.suffix, BESIDE, f".why{BESIDE}"
