"""When each day's lines of the diary are shown, so that they can be read. Pure.

A caption that comes while another is shown lets it stand for long enough, then takes its place.
What is decided for a film picture rests only on what the film has come to, so that lines of later
days change nothing before them.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from math import floor

from lapsekit.film.face.told import Event

FADE_S = 0.25
_LEAST_S, _MOST_S, _START_S, _LETTERS_A_SECOND = 2.0, 6.0, 1.0, 16.0
#: Where others wait, a caption goes after this share of its time.
_HURRIED = 0.55
#: Lines that would come later than this after their day share the slip of those that wait, or,
#: where none waits, are left out.
_LATEST_S = 2.0


@dataclass(frozen=True)
class Shown:
    """The events of one day and the film pictures between which they are shown, fades apart."""

    events: tuple[Event, ...]
    start: int
    end: int


def reading_s(letters: int) -> float:
    """How long a text of so many letters is shown, in s."""
    return min(max(_LEAST_S, _START_S + letters / _LETTERS_A_SECOND), _MOST_S)


def scheduled(
    events: Sequence[Event], at_days: Sequence[float], frames_per_second: float
) -> tuple[list[Shown], list[Event]]:
    """When the events of each day are shown.

    Parameters
    ----------
    events : sequence of Event
        In order of day.
    at_days : sequence of float
        What day each film picture shows; never falls.
    frames_per_second : float

    Returns
    -------
    shown : list of Shown
        In order; no two at once.
    left_out : list of Event
        Those that would have come too late after the ones before them, or after the film's end.
    """
    shown: list[Shown] = []
    late: list[Event] = []
    fade = round(FADE_S * frames_per_second)
    for day, group in groupby(events, key=lambda event: floor(event.at_days)):
        arrives = bisect_left(at_days, day)
        if not at_days or day < floor(at_days[0]) or arrives == len(at_days):
            continue
        told = tuple(group)
        start = arrives
        if shown:
            free = _free_at(shown[-1], arrives, frames_per_second)
            start = max(arrives, free + fade)
            if start - arrives > _LATEST_S * frames_per_second:
                late += _left_after_sharing(shown, told, arrives, frames_per_second)
                continue
            shown[-1] = replace(shown[-1], end=free)
        shown.append(Shown(told, start, start + round(_time_s(told) * frames_per_second)))
    beyond = [event for each in shown if each.start >= len(at_days) for event in each.events]
    return [each for each in shown if each.start < len(at_days)], late + beyond


def _left_after_sharing(
    shown: list[Shown], told: tuple[Event, ...], arrives: int, frames_per_second: float
) -> tuple[Event, ...]:
    """Put lines on the slip that waits, if one does at `arrives`; what is left out otherwise."""
    last = shown[-1]
    if last.start <= arrives:
        return told
    both = last.events + told
    shown[-1] = Shown(both, last.start, last.start + round(_time_s(both) * frames_per_second))
    return ()


def _free_at(last: Shown, arrives: int, frames_per_second: float) -> int:
    """When the one that is shown goes if another waits for it from `arrives` on."""
    least = round(_HURRIED * _time_s(last.events) * frames_per_second)
    return min(last.end, max(arrives, last.start + least))


def _time_s(events: Sequence[Event]) -> float:
    return reading_s(sum(len(event.text) + len(event.label) for event in events))


def opacity(shown: Shown, beat: int, frames_per_second: float) -> float:
    """How strong a caption is shown on a film picture, 0 to 1: it comes, stays, and goes after."""
    fade = round(FADE_S * frames_per_second) + 1
    coming = min(1.0, (beat - shown.start + 1) / fade)
    going = min(1.0, max(0.0, 1 - (beat - shown.end + 1) / fade))
    return coming * going if beat >= shown.start else 0.0
