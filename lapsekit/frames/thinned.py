"""What is written down of frames before they are thinned out: the text files in ``thinned``.

``frames.csv`` has a line for each frame that went, ``daily.csv`` the daily values of days before
they were touched, ``kept.csv`` how the frames that stayed were judged while the others were there.
Lines are only ever added, and of several on the same thing the last one counts. A line that was cut
off while it was written does not count, and goes when the next is written.
"""

import csv
import io
import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass, fields
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any

from lapsekit.catalogue import Daily, Frame
from lapsekit.errors import ArchiveError
from lapsekit.when import from_utc_text, utc_text

THINNED = "thinned"
FRAMES_FILE, DAILY_FILE, KEPT_FILE = "frames.csv", "daily.csv", "kept.csv"

_FRAME = ("path", "camera", "taken_at", "day", "sha256", "size", "width", "height", "reasons")
_DAILY = tuple(field.name for field in fields(Daily))
_AS_JSON = {"left_out", "parts", "touches"}
_BETWEEN = "; "


@dataclass(frozen=True)
class Gone:
    """A frame that went, and the reasons for which it was not used; none for a usable one."""

    frame: Frame
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Kept:
    """How a frame that stayed was judged; `mark` says by which settings."""

    path: str
    camera: str
    day: date
    sha256: str
    reasons: tuple[str, ...]
    told: str
    watched: bool
    mark: str


@dataclass(frozen=True)
class DailyKept:
    """A daily value, how its single frames scattered, and the mark of what it rests on."""

    daily: Daily
    scatter: float | None
    mark: str


class Thinned:
    """The text files on frames thinned out of a season.

    Parameters
    ----------
    season_folder : pathlib.Path
        Nothing is made in it before something is written.

    Raises
    ------
    ArchiveError
        On reading, if a file or a line of it cannot be read; names it.
    """

    def __init__(self, season_folder: Path):
        self._folder = season_folder / THINNED

    @cached_property
    def frames(self) -> dict[str, Gone]:
        """Frames that went, by path."""
        return {gone.frame.path: gone for gone in self._read(FRAMES_FILE, _gone)}

    @cached_property
    def kept(self) -> dict[str, Kept]:
        """Frames that stayed on days thinned out, by path."""
        return {kept.path: kept for kept in self._read(KEPT_FILE, _kept)}

    @cached_property
    def daily(self) -> dict[tuple[str, date, str], DailyKept]:
        """Daily values by region, day and mark."""
        rows = self._read(DAILY_FILE, _daily)
        return {(row.daily.region, row.daily.day, row.mark): row for row in rows}

    @cached_property
    def days(self) -> set[tuple[str, date]]:
        """Cameras' days of which a frame went."""
        return {(gone.frame.camera, gone.frame.day) for gone in self.frames.values()}

    def has(self, frame: Frame) -> bool:
        """Whether just this frame is among those that went, or are about to."""
        gone = self.frames.get(frame.path)
        return gone is not None and gone.frame.sha256 == frame.sha256

    def write(
        self, frames: Iterable[Gone], kept: Iterable[Kept], daily: Iterable[DailyKept]
    ) -> None:
        """Add lines; they are on the disk when this returns.

        Frames come last: what is listed there may go, so all that it takes to do without it must
        stand by then.

        Raises
        ------
        ArchiveError
            If they could not be written; lines written before stay.
        """
        try:
            self._add(DAILY_FILE, (*_DAILY, "scatter", "mark"), [_of_daily(d) for d in daily])
            columns = tuple(field.name for field in fields(Kept))
            self._add(KEPT_FILE, columns, [_of_kept(row) for row in kept])
            self._add(FRAMES_FILE, _FRAME, [_of_gone(row) for row in frames])
        except OSError as error:
            raise ArchiveError(
                f"{self._folder}: cannot be written ({error.strerror}), so no frame was thinned "
                "out; make some room, or check who owns the folder, and run it again"
            ) from error
        for name in ("frames", "kept", "daily", "days"):
            self.__dict__.pop(name, None)

    def _add(self, name: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
        if not rows:
            return
        self._make_folder()
        path = self._folder / name
        is_new = not path.exists()
        with path.open("a+b") as file:
            whole = _whole_lines(file)
            file.truncate(whole)
            text = io.StringIO()
            writer = csv.writer(text, lineterminator="\n")
            writer.writerows([*([] if whole else [columns]), *rows])
            file.write(text.getvalue().encode())
            file.flush()
            os.fsync(file.fileno())
        if is_new:
            _sync(self._folder)

    def _make_folder(self) -> None:
        if not self._folder.is_dir():
            self._folder.mkdir(exist_ok=True)
            _sync(self._folder.parent)

    def _read(self, name: str, row_of: Any) -> list[Any]:
        path = self._folder / name
        try:
            text = path.read_text(encoding="utf-8")
        except FileNotFoundError:
            return []
        except (OSError, UnicodeDecodeError) as error:
            raise ArchiveError(f"{path}: cannot be read ({error})") from error
        lines = text.split("\n")[:-1]
        csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
        found = []
        for number, row in enumerate(csv.DictReader(lines), start=2):
            try:
                found.append(row_of(row))
            except (KeyError, ValueError, TypeError, AttributeError) as error:
                raise ArchiveError(
                    f"{path}: line {number} cannot be read ({error}); bring the file back from a "
                    "copy of the season"
                ) from error
        return found


def _whole_lines(file: Any) -> int:
    """Bytes up to the end of the last line that is whole."""
    end = file.seek(0, os.SEEK_END)
    while end:
        start = max(0, end - 4096)
        file.seek(start)
        at = file.read(end - start).rfind(b"\n")
        if at >= 0:
            return start + at + 1
        end = start
    return 0


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _of_gone(gone: Gone) -> list[Any]:
    f = gone.frame
    when = utc_text(f.taken_at), f.day.isoformat()
    return [f.path, f.camera, *when, f.sha256, f.size, f.width, f.height, _list(gone.reasons)]


def _gone(row: dict[str, str]) -> Gone:
    numbers = (int(row[name]) for name in ("size", "width", "height"))
    when = from_utc_text(row["taken_at"]), date.fromisoformat(row["day"])
    frame = Frame(row["camera"], *when, row["path"], row["sha256"], *numbers, "thinned")
    return Gone(frame, _listed(row["reasons"]))


def _of_kept(kept: Kept) -> list[Any]:
    path, camera, day, sha256, reasons, told, watched, mark = astuple(kept)
    return [path, camera, day, sha256, _list(reasons), _one_line(told), int(watched), mark]


def _kept(row: dict[str, str]) -> Kept:
    day, reasons = date.fromisoformat(row["day"]), _listed(row["reasons"])
    verdict = reasons, row["told"], row["watched"] == "1"
    return Kept(row["path"], row["camera"], day, row["sha256"], *verdict, row["mark"])


def _list(reasons: Iterable[str]) -> str:
    return _BETWEEN.join(reasons)


def _listed(text: str) -> tuple[str, ...]:
    return tuple(text.split(_BETWEEN)) if text else ()


def _of_daily(kept: DailyKept) -> list[Any]:
    cells = [_cell(name, getattr(kept.daily, name)) for name in _DAILY]
    return [*cells, _cell("scatter", kept.scatter), kept.mark]


def _cell(name: str, value: Any) -> Any:
    if name in _AS_JSON:
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, bool):
        return int(value)
    return "" if value is None else repr(value) if isinstance(value, float) else value


def _daily(row: dict[str, str]) -> DailyKept:
    daily = Daily(**{name: _value(name, row[name]) for name in _DAILY})
    return DailyKept(daily, _value("scatter", row["scatter"]), row["mark"])


def _value(name: str, text: str) -> Any:
    if name == "region":
        return text
    if name == "day":
        return date.fromisoformat(text)
    if name in _AS_JSON:
        found = json.loads(text)
        return tuple(found) if name == "touches" else found
    if name == "crowded":
        return text == "1"
    if name == "frames_used":
        return int(text)
    return float(text) if text else None
