"""How a film's time runs: how long each day lasts, and what each of its pictures shows. Pure.

Days are whole numbers here: calendar days, or days since sowing where several plants are shown in
step. A day's pictures rest on its own frames and on the first one of the day after it, on nothing
else: a film that grows by a day keeps what it had.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

FADE_SHARE = 0.5
"""So much of the time that a frame is shown it gives way to the next."""

CARD_SECONDS = (1.2, 3.0)
"""A gap's card stays at least so long, to be read; and at most, however long the gap."""

PAPER_SECONDS = 0.25
"""How long a picture takes to become a card, and a card to become a picture."""

SLOW_TIMES, SLOW_DAYS = 4.0, 2.0
"""On the day of an act time runs so many times slower, and so many days from it as ever."""

FLOOR_SHARE = 0.15
"""At the pace of growth a day without any keeps so much of the length of a day."""

_HALVINGS = 24

Between = Literal["fade", "hold", "motion"]


@dataclass(frozen=True)
class Beat:
    """One picture of a film, on one panel.

    Attributes
    ----------
    day : int
    at_day : float
        Where the season stands: the day, and how much of it has been shown.
    first, second : (int, int) or None
        Day and place among its frames of the one that is shown, and of the one it gives way to.
    mix : float
        How much of `second` is seen, 0 to 1.
    paper : float
        How much of a card lies over it, 0 to 1; 1 without a gap is bare paper.
    gap : (int, int) or None
        First and last day without a frame, which the card tells.
    """

    day: int
    at_day: float
    first: tuple[int, int] | None
    second: tuple[int, int] | None
    mix: float = 0.0
    paper: float = 0.0
    gap: tuple[int, int] | None = None

    @property
    def places(self) -> tuple[tuple[int, int], ...]:
        """Day and place of each frame that it is painted from."""
        return tuple(at for at in (self.first, self.second) if at is not None)


@dataclass(frozen=True)
class Stretch:
    """A day of a film, or a gap: what is encoded together, and when encoded again.

    Attributes
    ----------
    day : int
        The day, or the first of the gap.
    last : int
        The day, or the last of the gap.
    beats : int
        How many pictures it lasts.
    gap : bool
    """

    day: int
    last: int
    beats: int
    gap: bool = False


def even_pace(days: Sequence[int], beats_a_day: float) -> dict[int, float]:
    """Every day alike."""
    return dict.fromkeys(days, beats_a_day)


def growth_pace(
    days: Sequence[int], gain: Mapping[int, float], beats_a_day: float
) -> dict[int, float]:
    """Every second the same gain of canopy, on average as fast as `beats_a_day`.

    Parameters
    ----------
    days : sequence of int
    gain : mapping of int to float
        What canopy gained since the day before; losses count as standing still.
    beats_a_day : float

    Returns
    -------
    dict of int to float
        Days without growth keep a small share: a film that skips them would hide a pause.
    """
    gains = [max(0.0, gain.get(day, 0.0)) for day in days]
    mean = sum(gains) / len(gains) if gains else 0.0
    if mean == 0:
        return even_pace(days, beats_a_day)
    rest = 1 - FLOOR_SHARE
    return {
        day: beats_a_day * (FLOOR_SHARE + rest * each / mean)
        for day, each in zip(days, gains, strict=True)
    }


def event_pace(days: Sequence[int], events: Sequence[int], beats_a_day: float) -> dict[int, float]:
    """Slow where something was done, easing in and out over neighbouring days."""
    found = {}
    for day in days:
        apart = min((abs(day - event) for event in events), default=SLOW_DAYS)
        near = max(0.0, 1 - apart / SLOW_DAYS)
        found[day] = beats_a_day * (1 + (SLOW_TIMES - 1) * _eased(near))
    return found


def lasting(
    pace: Mapping[int, float], seconds: float, frames_per_second: float
) -> dict[int, float]:
    """The same pace, so that the whole lasts `seconds`, cards of gaps included.

    Where there are more days than pictures, some are passed over; where cards alone last longer,
    days keep a picture each.
    """
    whole, wanted = sum(pace.values()), seconds * frames_per_second
    low, high = 0.0, wanted / whole
    for _ in range(_HALVINGS):  # cards are longer where days are, within bounds
        middle = (low + high) / 2
        found = {day: each * middle for day, each in pace.items()}
        if sum(run.beats for run in stretches(found, frames_per_second)) > wanted:
            high = middle
        else:
            low = middle
    if all(run.gap for run in stretches({d: p * high for d, p in pace.items()}, frames_per_second)):
        high = len(pace) / whole
    return {day: each * high for day, each in pace.items()}


def stretches(pace: Mapping[int, float], frames_per_second: float) -> list[Stretch]:
    """Days and gaps in order, each with its number of pictures.

    Parameters
    ----------
    pace : mapping of int to float
        Days that have a frame, in order, and how many pictures each shall last. Fractions are
        carried over to the next day, so that the whole lasts what it should; where a day's share
        is carried on, it is passed over.
    frames_per_second : float
    """
    found: list[Stretch] = []
    carried, before = 0.0, None
    for day, wanted in pace.items():
        if before is not None and day > before + 1:
            missing = day - before - 1
            seconds = min(
                max(CARD_SECONDS[0], missing * wanted / frames_per_second), CARD_SECONDS[1]
            )
            found.append(Stretch(before + 1, day - 1, round(seconds * frames_per_second), True))
        carried += wanted
        count = int(carried + 1e-6)
        carried -= count
        if count:
            found.append(Stretch(day, day, count))
        before = day
    return found


def beats_of(
    stretch: Stretch,
    counts: Mapping[int, int],
    after: int | None,
    between: Between,
    frames_per_second: float,
) -> list[Beat]:
    """The pictures of one day, or of one gap.

    Parameters
    ----------
    stretch : Stretch
    counts : mapping of int to int
        How many frames each day has.
    after : int or None
        The day that follows without a gap; None at the end, and before a gap.
    between : {"fade", "hold", "motion"}
    frames_per_second : float
    """
    if stretch.gap:
        return _card(stretch, counts, frames_per_second)
    here = counts[stretch.day]
    found = []
    for number in range(stretch.beats):
        share = number / stretch.beats
        place = share * here
        frame = min(int(place + 1e-9), here - 1)
        follows = frame + 1 < here
        second = (stretch.day, frame + 1) if follows else (after, 0) if after is not None else None
        mix = _mix(place - frame, between) if second else 0.0
        first = (stretch.day, frame)
        found.append(Beat(stretch.day, stretch.day + share, first, second if mix else None, mix))
    return found


def _card(stretch: Stretch, counts: Mapping[int, int], frames_per_second: float) -> list[Beat]:
    """From the last picture before a gap to the first one after it, by way of paper."""
    ramp = max(1.0, PAPER_SECONDS * frames_per_second)
    before, after = stretch.day - 1, stretch.last + 1
    days, found = stretch.last - stretch.day + 1, []
    for number in range(stretch.beats):
        left = stretch.beats - number
        paper = _eased(min(1.0, (number + 1) / ramp, left / ramp))
        early = number < stretch.beats / 2
        shown = (before, counts[before] - 1) if early else (after, 0)
        at = stretch.day + days * number / stretch.beats
        gap = (stretch.day, stretch.last)
        found.append(Beat(int(at), at, shown, None, paper=paper, gap=gap))
    return found


def _mix(share: float, between: Between) -> float:
    if between == "hold":
        return 0.0
    if between == "motion":
        return max(0.0, share)
    return _eased(max(0.0, share - (1 - FADE_SHARE)) / FADE_SHARE)


def _eased(share: float) -> float:
    """From 0 to 1 with a soft beginning and end (a cubic)."""
    return share * share * (3 - 2 * share)
