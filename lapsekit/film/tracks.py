"""Where in a film each day lies, and the text tracks that tell it (WebVTT). Pure."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from pathlib import PurePosixPath

#: What stands beside a film under its name, and goes where it goes.
POSTER, CHAPTERS, CAPTIONS = BESIDE = ("-poster.jpg", "-chapters.vtt", "-captions.vtt")
#: So much of a note is told over a picture.
MOST_LETTERS = 120
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u2028\u2029]+")


@dataclass(frozen=True)
class Day:
    """A day of a film, and from which second to which it is shown."""

    day: date
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Cue:
    """A text with the seconds between which it is shown."""

    start_s: float
    end_s: float
    text: str


def days_of(shows: Sequence[str], frames_per_second: float) -> list[Day]:
    """The days of a film in order.

    Parameters
    ----------
    shows : sequence of str
        Paths of its frames in order, each in a folder named by its local day.
    frames_per_second : float
        Above zero.
    """
    days = [date.fromisoformat(PurePosixPath(path).parent.name) for path in shows]
    found, at = [], 0
    for day, run in groupby(days):
        count = len(list(run))
        found.append(Day(day, at / frames_per_second, (at + count) / frames_per_second))
        at += count
    return found


def second_of(days: Sequence[Day], day: date) -> float | None:
    """When a day, or the next one after it that has a frame, is shown; None before and after."""
    if not days or not days[0].day <= day <= days[-1].day:
        return None
    return next(each.start_s for each in days if each.day >= day)


def chapters(days: Sequence[Day], told: Iterable[tuple[date, str]], opening: str) -> list[Cue]:
    """Chapters that end where the next begins.

    Parameters
    ----------
    days : sequence of Day
    told : iterable of (date, str)
        What happened, in order of day; what lies outside of the film is passed over.
    opening : str
        What the film begins with where nothing happened on its first day.
    """
    if not days:
        return []
    starts: dict[float, list[str]] = {}
    for day, text in told:
        second = second_of(days, day)
        if second is not None:
            starts.setdefault(second, []).append(text)
    starts.setdefault(0.0, [opening])
    order = sorted(starts)
    ends = [*order[1:], days[-1].end_s]
    return [
        Cue(start, end, "; ".join(starts[start])) for start, end in zip(order, ends, strict=True)
    ]


def vtt(cues: Iterable[Cue]) -> bytes:
    """A WebVTT file; texts may hold anything."""
    blocks = [
        f"{number}\n{_stamp(cue.start_s)} --> {_stamp(cue.end_s)}\n{_escaped(cue.text)}"
        for number, cue in enumerate(cues, start=1)
    ]
    return ("\n\n".join(["WEBVTT", *blocks]) + "\n").encode()


def clipped(text: str) -> str:
    """No more of a text than can be read while it is shown."""
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS - 1].rstrip()}…"


def clock(second: float) -> str:
    """``0:07.5``, ``12:30.0``: films are short, and days in them shorter."""
    minutes, tenths = divmod(int(10 * second + 1e-6), 600)
    return f"{minutes}:{tenths // 10:02}.{tenths % 10}"


def _stamp(second: float) -> str:
    minutes, thousandths = divmod(round(second * 1000), 60_000)
    seconds, thousandths = divmod(thousandths, 1000)
    return f"{minutes // 60:02}:{minutes % 60:02}:{seconds:02}.{thousandths:03}"


def one_line(text: str) -> str:
    """A text without control characters and line breaks; a dash where nothing is left."""
    return _CONTROL.sub(" ", text).strip() or "–"


def _escaped(text: str) -> str:
    """One line without what WebVTT takes for markup or for the arrow between times."""
    return one_line(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
