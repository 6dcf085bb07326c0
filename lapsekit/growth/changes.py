"""A plant's growth before and after one day, and how far its area jumped there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lapsekit.growth.plants import MIN_VALUES, Plant

#: Values on each side from which a jump is read.
NEAREST = 2


@dataclass(frozen=True)
class Window:
    """The days on both sides of an event, the same for those concerned and the others.

    Attributes
    ----------
    day : float
        The event's; it counts on neither side, since nobody knows which frames came first.
    first, last : float
        First day before, last day after, both included.
    """

    day: float
    first: float
    last: float

    def __post_init__(self) -> None:
        if not self.first < self.day < self.last:
            raise ValueError(f"day {self.day:g} lies not within {self.first:g} to {self.last:g}")


def window_around(day: float, days: int, neighbours: Sequence[float] = ()) -> Window:
    """The window of so many days on each side, ended by the nearest other events.

    Parameters
    ----------
    day : float
    days : int
        On each side, at least `MIN_VALUES`.
    neighbours : sequence of float
        Days of other events of the plants concerned; what follows them is theirs.

    Raises
    ------
    ValueError
        If so many days are too few.
    """
    if days < MIN_VALUES:
        raise ValueError(f"a window of {days} days is too short; give {MIN_VALUES} or more")
    before = [near + 1 for near in neighbours if near < day]
    after = [near - 1 for near in neighbours if near > day]
    first = max([day - days, *before])
    last = min([day + days, *after])
    return Window(day, min(first, day - 1), max(last, day + 1))


@dataclass(frozen=True)
class Change:
    """One plant around one day.

    Attributes
    ----------
    before, after : float
        Relative growth rate over the window before and after, per day.
    step : float
        How far ln area jumped at the event: from the nearest days before to the nearest after,
        less what the mean of both rates makes of the time between.
    log_area : float
        ln area just before.
    """

    before: float
    after: float
    step: float
    log_area: float


def change_around(plant: Plant, window: Window) -> Change | None:
    """A plant's growth before and after a day, by one line of ln area on each side, and its jump.

    Parameters
    ----------
    plant : Plant
        On the same scale of time as the window.
    window : Window

    Returns
    -------
    Change or None
        None where a side holds fewer than `MIN_VALUES` values.
    """
    days, logs = plant.log_curve
    before = slice(*np.searchsorted(days, (window.first, window.day)))
    after = slice(*np.searchsorted(days, (window.day, window.last), "right"))
    if min(side.stop - side.start for side in (before, after)) < MIN_VALUES:
        return None
    rates = [_slope(days[side], logs[side]) for side in (before, after)]
    near = [(days[before][-NEAREST:], logs[before][-NEAREST:]),
            (days[after][:NEAREST], logs[after][:NEAREST])]  # fmt: skip
    (day_before, log_before), (day_after, log_after) = ((d.mean(), v.mean()) for d, v in near)
    grown = (rates[0] + rates[1]) / 2 * (day_after - day_before)
    return Change(*rates, float(log_after - log_before - grown), float(log_before))


def _slope(days: np.ndarray, logs: np.ndarray) -> float:
    away = days - days.mean()
    return float(away @ logs / (away @ away))
