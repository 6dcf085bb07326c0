"""What followed an event: growth before and after it, against other plants on the same days.

Difference in differences: a week of dull weather slows the plant that was fed and those that were
not; only what the one did beyond the others can be the event's. How far the others' changes lie
apart tells how far a change may go without any event. What is found has followed the event; that
it came of it remains the grower's judgement.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, log, sqrt

import numpy as np
from scipy.special import stdtr, stdtrit

from lapsekit.growth.permutation import holm
from lapsekit.growth.plants import MIN_VALUES, Plant, log_curve

#: Fewer others tell too little of how far a change may go by itself.
LEAST_OTHERS = 3
#: Others larger or smaller by more than this factor grow too differently to be held against.
SIZE_FACTOR = 5.0
#: From so many others on they tell how far the rate before foretells the rate after.
LEAST_TO_ADJUST = 6


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
        How far ln area jumped at the event: the line after it less the line before, at its day.
    log_area : float
        ln area at the event by the line before.
    """

    before: float
    after: float
    step: float
    log_area: float


@dataclass(frozen=True)
class Effect:
    """How far those concerned changed beyond the others.

    Attributes
    ----------
    estimate, low, high : float
        With its interval.
    p, p_corrected : float
        Two-sided, by Student's t; the same after Holm's correction for all asked at once.
    """

    estimate: float
    low: float
    high: float
    p: float
    p_corrected: float


@dataclass(frozen=True)
class Response:
    """What followed an event.

    Attributes
    ----------
    plants, others : tuple of str
        Plants concerned that have values on both sides; those they are held against.
    before, after : float or None
        Mean growth rate of those concerned, per day.
    others_before, others_after : float or None
        The same of the others.
    rate, step : Effect or None
        In growth rate (per day) and in ln area at once; None where nothing can be said.
    level : float
        Of the intervals, such as 0.95.
    refusal : str
        Why nothing can be said; empty where something can.
    """

    plants: tuple[str, ...]
    others: tuple[str, ...]
    before: float | None
    after: float | None
    others_before: float | None
    others_after: float | None
    rate: Effect | None
    step: Effect | None
    level: float
    refusal: str = ""

    def is_claimed(self, effect: Effect | None) -> bool:
        """Whether `rate` or `step` may be called real at this level."""
        return effect is not None and effect.p_corrected <= 1 - self.level


def change_around(plant: Plant, window: Window) -> Change | None:
    """A plant's growth before and after a day, by one line of ln area on each side.

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
    days, logs = log_curve(plant)
    away = days - window.day
    lines = []
    for side in ((away < 0) & (days >= window.first), (away > 0) & (days <= window.last)):
        if side.sum() < MIN_VALUES:
            return None
        lines.append(_line(away[side], logs[side]))
    (before, level_before), (after, level_after) = lines
    return Change(before, after, level_after - level_before, level_before)


def response(
    concerned: Sequence[Plant], others: Sequence[Plant], window: Window, level: float = 0.95
) -> Response:
    """Hold the plants that an event concerned against others on the same days.

    With `LEAST_TO_ADJUST` others the change is measured from what their rates before foretell of
    their rates after (analysis of covariance; Vickers & Altman 2001, BMJ 323: 1123-1124): fast
    seedlings slow down more than slow ones. With fewer it is the plain difference in differences.
    The interval is that of a new plant among the others: it takes their changes as normal, and
    those concerned as scattering like them (Student's t; with one plant concerned, a prediction
    interval). Others count that are of like size, within `SIZE_FACTOR`: a seedling's growth slows
    otherwise than a grown plant's.

    Parameters
    ----------
    concerned, others : sequence of Plant
        Their times must run alike: calendar days, for weather to be the same.
    window : Window
    level : float

    Returns
    -------
    Response
        With a refusal where those concerned have too few values around the day, or fewer than
        `LEAST_OTHERS` others of like size have them.

    Raises
    ------
    ValueError
        If a plant stands on both sides.
    """
    both = sorted({p.name for p in concerned} & {p.name for p in others})
    if both:
        raise ValueError(f"{', '.join(both)} cannot be its own control; name it on one side")
    ours, theirs = _changes(concerned, window), _of_like_size(concerned, others, window)
    blank = Response(
        tuple(ours),
        tuple(theirs),
        *_mean_rates(ours),
        *_mean_rates(theirs),
        None,
        None,
        level,
        _refusal(ours, theirs),
    )
    if blank.refusal:
        return blank
    sides = list(ours.values()), list(theirs.values())
    steps = ([change.step for change in side] for side in sides)
    return replace(blank, rate=_rate_effect(*sides, level), step=_effect(*steps, level))


def corrected(responses: Sequence[Response]) -> list[Response]:
    """The same responses, with p corrected (Holm) for all questions that were asked."""
    asked = [r for r in responses if r.rate is not None]
    p_values = holm([e.p for r in asked for e in (r.rate, r.step)])
    pairs = dict(zip(map(id, asked), zip(p_values[::2], p_values[1::2], strict=True), strict=True))
    return [_with_p(r, pairs[id(r)]) if id(r) in pairs else r for r in responses]


def _with_p(found: Response, p_values: tuple[float, float]) -> Response:
    effects = (
        replace(e, p_corrected=p) for e, p in zip((found.rate, found.step), p_values, strict=True)
    )
    return replace(found, **dict(zip(("rate", "step"), effects, strict=True)))


def _line(days: np.ndarray, logs: np.ndarray) -> tuple[float, float]:
    """Slope of the least-squares line, and its height at day 0."""
    middle = days.mean()
    away = days - middle
    slope = float(away @ logs / (away @ away))
    return slope, float(logs.mean() - slope * middle)


def _changes(plants: Sequence[Plant], window: Window) -> dict[str, Change]:
    found = {plant.name: change_around(plant, window) for plant in plants}
    return {name: change for name, change in found.items() if change is not None}


def _of_like_size(
    concerned: Sequence[Plant], others: Sequence[Plant], window: Window
) -> dict[str, Change]:
    sizes = [change.log_area for change in _changes(concerned, window).values()]
    if not sizes:
        return {}
    least, most = min(sizes) - log(SIZE_FACTOR), max(sizes) + log(SIZE_FACTOR)
    changes = _changes(others, window)
    return {name: c for name, c in changes.items() if least <= c.log_area <= most}


def _mean_rates(changes: dict[str, Change]) -> tuple[float | None, float | None]:
    if not changes:
        return None, None
    rates = [(c.before, c.after) for c in changes.values()]
    before, after = np.mean(rates, axis=0)
    return float(before), float(after)


def _rate_effect(ours: Sequence[Change], theirs: Sequence[Change], level: float) -> Effect:
    """How the rate after differs from what the rate before led to expect of the others."""
    before, after = (np.array([getattr(c, n) for c in theirs]) for n in ("before", "after"))
    away = before - before.mean()
    spread = float(away @ away)
    adjusts = len(theirs) >= LEAST_TO_ADJUST and spread > 0
    # Between 0 (before says nothing of after) and 1 (every rate changes by as much): few others
    # would tell wilder slopes than can be.
    slope = float(np.clip(away @ after / spread, 0, 1)) if adjusts else 1.0
    left = [[c.after - slope * c.before for c in side] for side in (ours, theirs)]
    gap = float(np.mean([c.before for c in ours]) - before.mean())
    return _effect(*left, level, slopes=int(adjusts), leverage=gap**2 / spread if adjusts else 0)


def _effect(
    ours: Sequence[float],
    theirs: Sequence[float],
    level: float,
    slopes: int = 0,
    leverage: float = 0.0,
) -> Effect:
    """Difference of means by Student's t; `slopes` were fitted before, which `leverage` weighs."""
    free = len(ours) + len(theirs) - 2 - slopes
    squares = sum(float(np.var(side)) * len(side) for side in (ours, theirs))
    error = sqrt(squares / free * (1 / len(ours) + 1 / len(theirs) + leverage))
    estimate = float(np.mean(ours) - np.mean(theirs))
    half = float(stdtrit(free, (1 + level) / 2)) * error
    away = abs(estimate) / error if error else inf if estimate else 0.0
    p = float(2 * stdtr(free, -away))
    return Effect(estimate, estimate - half, estimate + half, p, p)


def _refusal(ours: dict[str, Change], theirs: dict[str, Change]) -> str:
    if not ours:
        return (
            f"too few days with a value around it: {MIN_VALUES} are needed before it and after it, "
            "free of other events"
        )
    if len(theirs) < LEAST_OTHERS:
        return (
            f"{len(theirs)} other plants of like size without an event of their own have values on "
            f"these days, and {LEAST_OTHERS} are needed to tell it from the weather"
        )
    return ""
