"""A long season in stretches: growth of months ago is settled, and today's values leave it so.

What a plant does today says nothing about how it grew half a year ago. Each stretch of days is
worked out from its own values and those around it, as many as its longest pauses need; once these
are there it stays as it is, and a new day costs the same in the first season as in the tenth year.
That a series may be worked out piece by piece, with some overlap, is as old as smoothing by local
fits (Cleveland 1979, J. Am. Statist. Assoc. 74: 829–836).
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from itertools import pairwise

import numpy as np

from lapsekit.growth.curves import GrowthCurve
from lapsekit.growth.losses import Loss
from lapsekit.growth.pauses import Pause
from lapsekit.growth.series import NORMAL

STRETCH_DAYS = 30
"""Days that are settled at a time; they begin on multiples of it, whenever the season does."""

AROUND_DAYS = 45
"""Days before and after a stretch that it rests on too: the longest pause (35 days) and the days of
growth that show its end."""

BEFORE, AFTER = 20, 10
"""Values that it rests on at least, before and after; where days are missing they lie farther."""

FIRST_DAYS = 60
"""The first stretch is at least so long, so that a season of 104 days is still one piece."""


@dataclass(frozen=True)
class Stretch:
    """Some days of a season, and those that their growth rests on.

    Attributes
    ----------
    first, end : int
        Its days, on the scale of the season's; `end` is not among them.
    seen_first, seen_end : int
        The days that it rests on, likewise.
    among_days : int
        Days of the season up to there: what is rare is rare among them.
    is_settled : bool
        Whether a day after the season's last one leaves it as it is.
    """

    first: int
    end: int
    seen_first: int
    seen_end: int
    among_days: int
    is_settled: bool


@dataclass(frozen=True)
class Worked:
    """What daily values say about growth.

    Attributes
    ----------
    curve : GrowthCurve or None
        None with too few values.
    pauses : tuple of Pause
    losses : tuple of Loss
        Confirmed ones.
    """

    curve: GrowthCurve | None
    pauses: tuple[Pause, ...] = ()
    losses: tuple[Loss, ...] = ()

    def on(self, stretch: Stretch) -> "Worked":
        """What of it is told of a stretch; a pause may reach beyond its ends."""
        curve = self.curve and _between(self.curve, stretch.first, stretch.end)
        within = range(stretch.first, stretch.end)
        return Worked(
            curve if curve and curve.days.size else None,
            tuple(p for p in self.pauses if p.end > stretch.first and p.start < stretch.end),
            tuple(loss for loss in self.losses if loss.day in within),
        )

    def as_plain(self) -> dict:
        """As what JSON can hold (with NaN), for `from_plain`."""
        columns = vars(self.curve) if self.curve else {}
        return {
            "curve": {name: values.tolist() for name, values in columns.items()},
            "pauses": [asdict(pause) for pause in self.pauses],
            "losses": [asdict(loss) for loss in self.losses],
        }

    @classmethod
    def from_plain(cls, plain: dict) -> "Worked":
        """What `as_plain` gave, to the bit.

        Raises
        ------
        TypeError, ValueError, KeyError, AttributeError
            If it is not that.
        """
        columns = {
            name: np.array(values, _KINDS.get(name, float))
            for name, values in plain["curve"].items()
        }
        curve = GrowthCurve(**columns) if columns else None
        pauses = tuple(Pause(**each) for each in plain["pauses"])
        return cls(curve, pauses, tuple(Loss(**each) for each in plain["losses"]))


_KINDS = {"days": int, "measured": bool, "bad": bool, "breaks": int}


def stretches(days: Sequence[int]) -> list[Stretch]:
    """Divide a season by the days on which it was measured.

    Parameters
    ----------
    days : sequence of int, one or more
        Ordinals of dates, rising.

    Returns
    -------
    list of Stretch
        In order; together they are all days from the first to the last, and only the last is not
        settled.
    """
    bounds = [days[0], *_bounds(days), days[-1] + 1]
    return [_stretch(days, start, end, end != bounds[-1]) for start, end in pairwise(bounds)]


def _bounds(days: Sequence[int]) -> list[int]:
    """Days on which stretches end that later days cannot change."""
    found: list[int] = []
    begins = -(-(days[0] + FIRST_DAYS) // STRETCH_DAYS) * STRETCH_DAYS
    for bound in range(begins, days[-1] + 2 - AROUND_DAYS, STRETCH_DAYS):
        before = bisect_left(days, bound)
        is_new = before > (bisect_left(days, found[-1]) if found else BEFORE - 1)
        if is_new and len(days) - before >= AFTER:
            found.append(bound)
    return found


def _stretch(days: Sequence[int], first: int, end: int, is_settled: bool) -> Stretch:
    before, after = bisect_left(days, first), bisect_left(days, end) + AFTER
    seen_first = min(first - AROUND_DAYS, days[max(before - BEFORE, 0)])
    seen_end = days[-1] + 1
    if is_settled:
        seen_end = max(end + AROUND_DAYS, days[after - 1] + 1)
    among = seen_end - days[0]
    return Stretch(first, end, max(seen_first, days[0]), seen_end, among, is_settled)


FIELDS = [[one.name for one in fields(kind)] for kind in (GrowthCurve, Pause, Loss)]
"""What `Worked.as_plain` holds."""


def joined(parts: Sequence[Worked]) -> Worked:
    """A season from what is told of its stretches, in order.

    A pause that two of them saw is told by the surer. A canopy that was regained later than a
    stretch could see is back on the first day on which the joined curve is.
    """
    if len(parts) == 1:
        return parts[0]
    curve = _joined_curve([one.curve for one in parts if one.curve])
    losses = (loss for one in parts for loss in one.losses)
    return Worked(
        curve,
        _joined_pauses([pause for one in parts for pause in one.pauses]),
        tuple(loss if curve is None else _regained(loss, curve) for loss in losses),
    )


def _joined_curve(drawn: Sequence[GrowthCurve]) -> GrowthCurve | None:
    if not drawn:
        return None
    days = np.arange(drawn[0].days[0], drawn[-1].days[-1] + 1)
    place = np.concatenate([curve.days for curve in drawn]) - days[0]
    breaks = np.concatenate([curve.breaks for curve in drawn])
    columns = {"days": days, "breaks": breaks}
    for one in fields(GrowthCurve):
        if one.name in columns:
            continue
        columns[one.name] = np.full(days.size, False if one.name in _KINDS else np.nan)
        columns[one.name][place] = np.concatenate([getattr(curve, one.name) for curve in drawn])
    return GrowthCurve(**columns)


def _joined_pauses(pauses: Sequence[Pause]) -> tuple[Pause, ...]:
    found: list[Pause] = []
    for pause in pauses:
        twice = [other for other in found if other.end > pause.start]
        if all(pause.gain > other.gain for other in twice):
            found = [other for other in found if other not in twice] + [pause]
    return tuple(found)


def _between(curve: GrowthCurve, first: int, end: int) -> GrowthCurve:
    """A curve on days from `first` to before `end`."""
    kept = (curve.days >= first) & (curve.days < end)
    columns = {one.name: getattr(curve, one.name) for one in fields(GrowthCurve)}
    breaks = columns.pop("breaks")
    breaks = breaks[(breaks >= first) & (breaks < end)]
    return GrowthCurve(**{n: values[kept] for n, values in columns.items()}, breaks=breaks)


def _regained(loss: Loss, curve: GrowthCurve) -> Loss:
    """A loss with what later stretches say of its end."""
    before = curve.area_cm2[curve.days == loss.since]
    if not before.size or not np.isfinite(before[0]):
        return loss
    later = curve.days >= loss.day
    # What all days err by in common is no matter between two of them
    above, below = curve.high_cm2 / curve.area_cm2, curve.area_cm2 / curve.low_cm2
    above, below = (
        np.exp(np.sqrt(np.maximum(np.log(half) ** 2 - (NORMAL * curve.common) ** 2, 0)))
        for half in (above, below)
    )
    seen = {
        "recovered_days": curve.area_cm2,
        "recovered_low": curve.area_cm2 * above,
        "recovered_high": curve.area_cm2 / below,
    }
    told = {}
    for name, area in seen.items():
        back = np.flatnonzero(later & (area >= before[0]))
        if getattr(loss, name) is None and back.size:
            told[name] = int(curve.days[back[0]] - loss.day)
    return replace(loss, **told)
