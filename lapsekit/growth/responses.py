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

from lapsekit.counted import counted
from lapsekit.growth.changes import Change, Window, change_around
from lapsekit.growth.permutation import holm
from lapsekit.growth.plants import MIN_VALUES, Plant

#: Fewer others tell too little of how far a change may go by itself.
LEAST_OTHERS = 4
#: Others larger or smaller by more than this factor grow too differently to be held against.
SIZE_FACTOR = 5.0
#: From so many others on they tell how far the rate before foretells the rate after.
LEAST_TO_ADJUST = 6


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
    plants : tuple of str
        Plants concerned that have values on both sides.
    others : tuple of str
        Those of like size that their rate is held against.
    step_others : tuple of str
        Those of any size that their jump is held against.
    before, after : float or None
        Mean growth rate of those concerned, per day.
    others_before, others_after : float or None
        The same of the others.
    rate, step : Effect or None
        In growth rate (per day) and in ln area at once; None where too few others can be held
        against them.
    level : float
        Of the intervals, such as 0.95.
    refusal : str
        Why nothing can be said at all; empty where something can.
    """

    plants: tuple[str, ...]
    others: tuple[str, ...]
    step_others: tuple[str, ...]
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


def response(
    concerned: Sequence[Plant], others: Sequence[Plant], window: Window, level: float = 0.95
) -> Response:
    """Hold the plants that an event concerned against others on the same days.

    With `LEAST_TO_ADJUST` others the change is measured from what their rates before foretell of
    their rates after (analysis of covariance; Vickers & Altman 2001, BMJ 323: 1123-1124): fast
    seedlings slow down more than slow ones. With fewer it is the plain difference in differences.
    The interval is that of a new plant among the others: it takes their changes as normal, and
    those concerned as scattering like them (Student's t; with one plant concerned, a prediction
    interval). For the rate, others count that are of like size, within `SIZE_FACTOR`: a seedling's
    growth slows otherwise than a grown plant's; for a jump of the area, all.

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
        `LEAST_OTHERS` others have them.

    Raises
    ------
    ValueError
        If a plant stands on both sides.
    """
    both = sorted({p.name for p in concerned} & {p.name for p in others})
    if both:
        raise ValueError(f"{', '.join(both)} cannot be its own control; name it on one side")
    ours, theirs = _changes(concerned, window), _changes(others, window)
    like = _of_like_size(ours, theirs)
    blank = Response(
        tuple(ours),
        tuple(like),
        tuple(theirs),
        *_mean_rates(ours),
        *_mean_rates(like),
        None,
        None,
        level,
        _refusal(ours, theirs),
    )
    if blank.refusal:
        return blank
    steps = ([change.step for change in side.values()] for side in (ours, theirs))
    enough = len(like) >= LEAST_OTHERS
    rate = _rate_effect(list(ours.values()), list(like.values()), level) if enough else None
    return replace(blank, rate=rate, step=_effect(*steps, level))


def corrected(responses: Sequence[Response]) -> list[Response]:
    """The same responses, with p corrected (Holm) for all questions that were asked."""
    asked = [(n, name) for n, r in enumerate(responses) for name in ("rate", "step")]
    asked = [(n, name) for n, name in asked if getattr(responses[n], name) is not None]
    found = list(responses)
    p_values = holm([getattr(responses[n], name).p for n, name in asked])
    for (n, name), p in zip(asked, p_values, strict=True):
        found[n] = replace(found[n], **{name: replace(getattr(found[n], name), p_corrected=p)})
    return found


def _changes(plants: Sequence[Plant], window: Window) -> dict[str, Change]:
    found = {plant.name: change_around(plant, window) for plant in plants}
    return {name: change for name, change in found.items() if change is not None}


def _of_like_size(ours: dict[str, Change], theirs: dict[str, Change]) -> dict[str, Change]:
    sizes = [change.log_area for change in ours.values()]
    least = min(sizes, default=inf) - log(SIZE_FACTOR)
    most = max(sizes, default=-inf) + log(SIZE_FACTOR)
    return {name: c for name, c in theirs.items() if least <= c.log_area <= most}


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
        others = counted(len(theirs), "other plant") if theirs else "no other plant"
        return (
            f"{others} with values on these days and without events, and {LEAST_OTHERS} are needed "
            "to tell it from the weather"
        )
    return ""
