"""Bring a folder of photographs into the archive.

Each picture needs a time: from EXIF, from its file name by a pattern, or, only when asked, from
the file's own date. Times without an offset are read in a named time zone. What cannot be used
is left where it is and listed with the reason; nothing is ever moved or deleted.
"""

import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import NoReturn
from zoneinfo import ZoneInfo

from lapsekit.catalogue import Catalogue
from lapsekit.errors import ArchiveError, PictureError, SettingsError
from lapsekit.frames.archive import Archive, content_hash
from lapsekit.frames.indexing import described
from lapsekit.frames.inspection import PictureFacts, inspect
from lapsekit.progress import Track, silent
from lapsekit.when import EARLIEST_YEAR, Clock, is_plausible

_FIELDS_NEEDED = (
    ("%Y", "%y", "%c", "%x"),
    ("%m", "%b", "%B", "%j", "%c", "%x"),
    ("%d", "%j", "%c", "%x"),
)
PICTURE_SUFFIXES = {".jpg", ".jpeg", ".png", ".webp"}
_OTHER_SUFFIXES = {
    *(".heic", ".heif", ".hif", ".avif", ".jxl", ".jp2", ".tif", ".tiff", ".gif", ".bmp"),
    *(".dng", ".cr2", ".cr3", ".nef", ".nrw", ".arw", ".sr2", ".raf", ".orf", ".rw2", ".pef"),
    *(".srw", ".raw"),
}
"""Pictures too, of phones and cameras, that nothing here decodes."""

_DIGITS = {"Y": 4, "j": 3} | dict.fromkeys("ymdHIMS", 2)
_FIELD = re.compile(r"%([A-Za-z%])|(\s+)|([^%\s]+)")

_OTHER_NAME = "the name does not fit the pattern"


@dataclass(frozen=True)
class TimeSource:
    """Where a picture's time comes from.

    Attributes
    ----------
    zone : zoneinfo.ZoneInfo
        Zone of times that carry no offset of their own.
    pattern : str or None
        strptime pattern of the file name, which may end in a picture's suffix such as ``.jpg``:
        then it is for such files alone. Pictures that do not match are passed over.
    file_time : bool
        Take the file's modification time.
    ask_pattern, ask_file_time : str
        How `pattern` and `file_time` are asked for where this is used, for messages.
    for_none : str
        What to do with a picture that carries no time, where it is not to ask for either of them.
    """

    zone: ZoneInfo
    pattern: str | None = None
    file_time: bool = False
    ask_pattern: str = "--pattern"
    ask_file_time: str = "--file-time"
    for_none: str = ""

    def __post_init__(self) -> None:
        if self.pattern is None:
            return
        try:
            datetime.strptime("", self.pattern)
        except re.error as error:
            raise SettingsError(
                f"{self.ask_pattern} {self.pattern}: a field stands twice"
            ) from error
        except ValueError as error:
            if "directive" in str(error) or "stray" in str(error):
                raise SettingsError(f"{self.ask_pattern} {self.pattern}: {error}") from error
        if not all(any(f in self.pattern for f in kind) for kind in _FIELDS_NEEDED):
            raise SettingsError(
                f"{self.ask_pattern} {self.pattern}: year, month and day are needed "
                "(%Y, %m, %d, or %j)"
            )

    def of(self, file: Path, facts: PictureFacts) -> datetime:
        """UTC instant of a picture; raises `PictureError` where it carries none."""
        if self.file_time:
            return datetime.fromtimestamp(file.stat().st_mtime, UTC).replace(microsecond=0)
        taken = self._by_name(file) if self.pattern else facts.taken
        if taken is None:
            lacks = (
                "its EXIF data tell when the file was last written (DateTime, which editors set "
                "anew), not when it was taken (DateTimeOriginal)"
                if facts.tells_writing
                else "no time in its EXIF data"
            )
            ask = f"give {self.ask_pattern} for the file names, or {self.ask_file_time}"
            raise PictureError(f"{lacks}; {self.for_none or ask}")
        if taken.year < EARLIEST_YEAR:
            raise PictureError(
                f"its time ({taken:%Y-%m-%d}) cannot be true; set the camera's clock"
            )
        return (taken if taken.tzinfo else taken.replace(tzinfo=self.zone)).astimezone(UTC)

    def passes_over(self, file: Path) -> bool:
        """Whether the file's name does not fit the pattern."""
        return self.pattern is not None and self._by_name(file) is None

    def named(self, file: Path) -> datetime | None:
        """UTC instant by the file's name alone; None where that does not tell it."""
        taken = self._by_name(file) if self.pattern and not self.file_time else None
        if taken is None or taken.year < EARLIEST_YEAR:
            return None
        return (taken if taken.tzinfo else taken.replace(tzinfo=self.zone)).astimezone(UTC)

    def _by_name(self, file: Path) -> datetime | None:
        names_suffix = Path(self.pattern).suffix.lower() in PICTURE_SUFFIXES
        name = file.name if names_suffix else file.stem
        try:
            found = datetime.strptime(name, self.pattern)
        except ValueError:
            return None
        return found if re.fullmatch(_widths(self.pattern), name, re.IGNORECASE) else None


@lru_cache(maxsize=16)
def _widths(pattern: str) -> str:
    """A regular expression of names in which numbers that nothing parts have all their digits.

    One that lacked a digit would take it from the next: 1101 after a day would be 11:00:01.
    """
    fields = [match.groups() for match in _FIELD.finditer(pattern)]
    numbers = [field[0] in _DIGITS or field[0] == "f" for field in fields]
    found = []
    for at, (name, space, text) in enumerate(fields):
        touches = any(numbers[k] for k in (at - 1, at + 1) if 0 <= k < len(fields))
        if name in _DIGITS:
            least = _DIGITS[name] if touches else 1
            found.append(rf"\d{{{least},{_DIGITS[name]}}}")
        else:
            found.append(r"\s+" if space else re.escape(text) if text else ".+?")
    return "".join(found)


@dataclass(frozen=True)
class Stretch:
    """Days of which pictures are wanted, both among them; None for an open end."""

    since: date | None = None
    until: date | None = None

    def holds(self, day: date) -> bool:
        """Whether a day lies in it."""
        begun = self.since is None or self.since <= day
        return begun and (self.until is None or day <= self.until)


EVER = Stretch()


@dataclass
class ImportReport:
    """What an import did, or with a dry run would do.

    Paths are of the source folder, or of the folder of a single file; beside them stands what
    became of the file, or why nothing did.
    """

    stored: list[tuple[str, str]] = field(default_factory=list)
    duplicates: list[tuple[str, str]] = field(default_factory=list)
    aside: list[tuple[str, str]] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)
    passed_over: list[tuple[str, str]] = field(default_factory=list)
    of_other_days: list[str] = field(default_factory=list)


def bring_in(
    source: Path,
    camera: str,
    times: TimeSource,
    archive: Archive,
    catalogue: Catalogue,
    clock: Clock,
    day_of: Callable[[datetime], date],
    dry_run: bool = False,
    track: Track = silent,
    stretch: Stretch = EVER,
) -> ImportReport:
    """File the pictures below `source` as frames of `camera`.

    Parameters
    ----------
    source : pathlib.Path
        Folder of photographs; folders inside it are read too. Or one photograph.
    camera : str
        Camera of the season to file them under.
    times : TimeSource
        Where their times come from.
    archive, catalogue
        Where they go.
    clock : Clock
        A picture dated later than this is set aside: its camera's clock, or ours, is wrong.
    day_of : callable
        Local day of an instant.
    dry_run : bool
        Look and report, write nothing.
    track : Track
        Told about progress.
    stretch : Stretch
        Pictures of other days are left alone.

    Returns
    -------
    ImportReport

    Raises
    ------
    ArchiveError
        If `source` cannot be read, or a frame could not be stored; what was filed stays.
    """
    report = ImportReport()
    pictures, foreign = _pictures(source)
    base = source.parent if _is_single(source) else source
    report.passed_over += [(str(f.relative_to(base)), _other_format(f)) for f in foreign]
    files, others = _wanted(pictures, times, stretch, day_of)
    report.of_other_days += [str(file.relative_to(base)) for file in others]
    seen: dict[str, str] = {}
    for file in track(files, len(files), "importing"):
        name = str(file.relative_to(base))
        if times.passes_over(file):
            report.passed_over.append((name, _OTHER_NAME))
            continue
        try:
            data = file.read_bytes()
            facts = inspect(data)
            taken_at = times.of(file, facts)
        except (PictureError, OSError) as error:
            report.refused.append((name, str(error)))
            continue
        if not stretch.holds(day_of(taken_at)):
            report.of_other_days.append(name)
            continue
        content = content_hash(data)
        twin = seen.get(content) or catalogue.has_content(camera, content)
        if twin is not None:
            report.duplicates.append((name, twin))
            continue
        seen[content] = name
        late = not is_plausible(taken_at, clock())
        if dry_run:
            local = taken_at.astimezone(times.zone).isoformat(" ")
            (report.aside if late else report.stored).append((name, local))
        elif late:
            kept = archive.set_aside(camera, taken_at, data, facts.suffix)
            report.aside.append((name, kept.path))
        else:
            kept = archive.store(camera, taken_at, data, facts.suffix)
            catalogue.add_frames([described(kept, data, day_of, "import")])
            (report.stored if kept.new else report.duplicates).append((name, kept.path))
    return report


def _wanted(
    files: list[Path], times: TimeSource, stretch: Stretch, day_of: Callable[[datetime], date]
) -> tuple[list[Path], list[Path]]:
    """Files that are looked at, and those whose names tell that they are of other days."""
    found: tuple[list[Path], list[Path]] = [], []
    for file in files:
        at = times.named(file)
        found[0 if at is None or stretch.holds(day_of(at)) else 1].append(file)
    return found


def _other_format(file: Path) -> str:
    kind = file.suffix.removeprefix(".").upper()
    return f"{kind} is not taken; save it as JPEG, with its time, or let the camera take JPEG"


def _pictures(source: Path) -> tuple[list[Path], list[Path]]:
    """Pictures of the formats that are taken, and of others."""
    is_single, kinds = _is_single(source), (PICTURE_SUFFIXES, _OTHER_SUFFIXES)
    if is_single and not any(source.suffix.lower() in kind for kind in kinds):
        raise ArchiveError(
            f"{source}: no picture by its name; give a photograph (JPEG, PNG, WebP), or a folder"
        )
    found = [source] if is_single else _files_below(source)
    ours, foreign = ([f for f in found if f.suffix.lower() in kind] for kind in kinds)
    return sorted(ours), sorted(foreign)


def _is_single(source: Path) -> bool:
    """Whether it is a file and no folder; refused where it cannot be read."""
    try:
        os.scandir(source).close()
    except NotADirectoryError:
        return True
    except OSError as error:
        _stop(error)
    return False


def _stop(error: OSError) -> NoReturn:
    raise ArchiveError(f"{error.filename}: cannot be read ({error.strerror})") from error


def _files_below(source: Path) -> list[Path]:
    """Files in a folder and those inside, hidden ones left out; of links, each folder once."""
    found, seen = [], set()
    for folder, inner, names in os.walk(source, onerror=_stop, followlinks=True):
        seen.add(os.path.realpath(folder))
        inner[:] = [n for n in inner if os.path.realpath(Path(folder, n)) not in seen]
        found += [Path(folder, name) for name in names if not name.startswith(".")]
    return found
