"""When each picture of a film is shown, and what is in it: panels' beats put together. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lapsekit.errors import FilmError
from lapsekit.film.pacing import (
    Beat,
    Stretch,
    beats_of,
    even_pace,
    event_pace,
    growth_pace,
    lasting,
    stretches,
)
from lapsekit.settings import Cut


@dataclass(frozen=True)
class Plan:
    """A film's course.

    Attributes
    ----------
    stretches : tuple of Stretch
        Its days and gaps in order.
    beats : tuple of tuple of tuple of Beat
        For each stretch, for each of its pictures, what each panel shows.
    """

    stretches: tuple[Stretch, ...]
    beats: tuple[tuple[tuple[Beat, ...], ...], ...]

    @property
    def pictures(self) -> list[tuple[Beat, ...]]:
        """All pictures in order."""
        return [picture for stretch in self.beats for picture in stretch]


def planned(
    cut: Cut,
    counts: Sequence[Mapping[int, int]],
    gains: Mapping[int, float],
    acts: Sequence[int],
) -> Plan:
    """Lay out a film.

    Parameters
    ----------
    cut : Cut
    counts : sequence of mapping of int to int
        For each panel, how many frames each day has.
    gains : mapping of int to float
        What canopy gained since the day before.
    acts : sequence of int
        Days on which the diary tells of an act.

    Raises
    ------
    FilmError
        If it would be too short to show anything.
    """
    days = sorted({day for each in counts for day in each})
    found = stretches(_pace(cut, days, gains, acts), cut.frames_per_second)
    if not any(not each.gap for each in found):
        raise FilmError(
            f"{len(days)} days at {cut.day_seconds or 0:g} s each make no picture at "
            f"{cut.frames_per_second} a second; let a day last longer (day_seconds)"
        )
    following = [*found[1:], None]
    beats = tuple(
        _together(cut, stretch, after, counts)
        for stretch, after in zip(found, following, strict=True)
    )
    return Plan(tuple(found), beats)


def _pace(cut: Cut, days, gains, acts) -> dict[int, float]:
    beats_a_day = (cut.day_seconds or 1.0) * cut.frames_per_second
    pace = {
        "time": lambda: even_pace(days, beats_a_day),
        "growth": lambda: growth_pace(days, gains, beats_a_day),
        "events": lambda: event_pace(days, acts, beats_a_day),
    }[cut.pace]()
    if cut.length_seconds is None:
        return pace
    return lasting(pace, cut.length_seconds, cut.frames_per_second)


def _together(cut, stretch: Stretch, after: Stretch | None, counts) -> tuple[tuple[Beat, ...], ...]:
    """What all panels show in each picture of a stretch."""
    panels = [_alone(cut, stretch, after, each) for each in counts]
    return tuple(zip(*panels, strict=True))


def _alone(cut, stretch: Stretch, after: Stretch | None, counts) -> list[Beat]:
    """What one panel shows: frames, or paper where only others have one."""
    if not stretch.gap and stretch.day not in counts:
        return _nothing(stretch, counts)
    if stretch.gap and not {stretch.day - 1, stretch.last + 1} <= counts.keys():
        return _nothing(stretch, counts)
    follows = after is not None and not after.gap and after.day in counts
    return beats_of(
        stretch, counts, after.day if follows else None, cut.between, cut.frames_per_second
    )


def _nothing(stretch: Stretch, counts) -> list[Beat]:
    """One card for all the days that a panel lacks there; bare paper before and after its own."""
    days = stretch.last - stretch.day + 1
    ats = [stretch.day + days * number / stretch.beats for number in range(stretch.beats)]
    before = max((day for day in counts if day < stretch.day), default=None)
    after = min((day for day in counts if day > stretch.last), default=None)
    gap = None if before is None or after is None else (before + 1, after - 1)
    return [Beat(int(at), at, None, None, paper=1.0, gap=gap) for at in ats]
