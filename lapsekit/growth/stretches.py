"""A long season in stretches: growth of months ago is settled, and today's values leave it so.

What a plant does today says nothing about how it grew half a year ago. Each stretch of days is
worked out from its own days and those around it, as many as its longest pauses need; once all of
them have passed it stays as it is, and a new day costs the same in the first season as in the
tenth year. That a series may be worked out piece by piece, with some overlap, is as old as
smoothing by local fits (Cleveland 1979, J. Am. Statist. Assoc. 74: 829–836).
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from itertools import pairwise

import numpy as np

from lapsekit.growth.curves import GrowthCurve
from lapsekit.growth.losses import Loss
from lapsekit.growth.pauses import Pause

STRETCH_DAYS = 30
"""Days that are settled at a time; they begin on multiples of it, whenever the season does."""

AROUND_DAYS = 45
"""Days before and after a stretch that it rests on too: the longest pause (35 days) and the days of
growth that show its end."""

FIRST_DAYS = 60
"""The first stretch is at least so long, so that a season of 105 days is still one piece."""


@dataclass(frozen=True)
class Stretch:
    """Some days of a season, and those that their growth rests on.

    Attributes
    ----------
    first, end : int
        Its days, on the scale of the season's; `end` is not among them.
    seen_first, seen_end : int
        The days that it rests on, likewise.
    is_settled : bool
        Whether a day after the season's last one leaves it as it is.
    """

    first: int
    end: int
    seen_first: int
    seen_end: int
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
        """What `as_plain` gave, to the bit."""
        columns = {
            name: np.array(values, _KINDS.get(name, float))
            for name, values in plain["curve"].items()
        }
        curve = GrowthCurve(**columns) if columns else None
        pauses = tuple(Pause(**each) for each in plain["pauses"])
        return cls(curve, pauses, tuple(Loss(**each) for each in plain["losses"]))


_KINDS = {"days": int, "measured": bool, "bad": bool, "breaks": int}


def stretches(first: int, last: int) -> list[Stretch]:
    """Divide a season from its first to its last day.

    Parameters
    ----------
    first, last : int
        Ordinals of dates.

    Returns
    -------
    list of Stretch
        In order; together they are all of its days, and only the last is not settled.
    """
    begins = -(-(first + FIRST_DAYS) // STRETCH_DAYS) * STRETCH_DAYS
    bounds = [first, *range(begins, last + 2 - AROUND_DAYS, STRETCH_DAYS), last + 1]
    return [
        Stretch(
            *(start, end),
            max(start - AROUND_DAYS, first),
            min(end + AROUND_DAYS, last + 1),
            end != bounds[-1],
        )
        for start, end in pairwise(bounds)
    ]


def joined(parts: Sequence[tuple[Stretch, Worked]]) -> Worked:
    """A season from its stretches, in order.

    A pause that two of them saw is told by the surer. A canopy that was regained later than a
    stretch could see is back on the first day on which the joined curve is.
    """
    if len(parts) == 1:
        return parts[0][1]
    curve = _joined_curve([(stretch, one.curve) for stretch, one in parts])
    return Worked(curve, _joined_pauses(parts), _joined_losses(parts, curve))


def _joined_curve(parts: Sequence[tuple[Stretch, GrowthCurve | None]]) -> GrowthCurve | None:
    cut = [_between(curve, stretch.first, stretch.end) for stretch, curve in parts if curve]
    drawn = [curve for curve in cut if curve.days.size]
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


def _between(curve: GrowthCurve, first: int, end: int) -> GrowthCurve:
    """A curve on days from `first` to before `end`."""
    kept = (curve.days >= first) & (curve.days < end)
    columns = {one.name: getattr(curve, one.name) for one in fields(GrowthCurve)}
    breaks = columns.pop("breaks")
    breaks = breaks[(breaks >= first) & (breaks < end)]
    return GrowthCurve(**{n: values[kept] for n, values in columns.items()}, breaks=breaks)


def _joined_pauses(parts: Sequence[tuple[Stretch, Worked]]) -> tuple[Pause, ...]:
    found: list[Pause] = []
    for stretch, one in parts:
        for pause in one.pauses:
            if pause.end <= stretch.first or pause.start >= stretch.end:
                continue
            twice = [other for other in found if other.end > pause.start]
            if all(pause.gain > other.gain for other in twice):
                found = [other for other in found if other not in twice] + [pause]
    return tuple(found)


def _joined_losses(parts: Sequence[tuple[Stretch, Worked]], curve) -> tuple[Loss, ...]:
    found = [
        loss for stretch, one in parts for loss in one.losses
        if stretch.first <= loss.day < stretch.end
    ]  # fmt: skip
    return tuple(loss if curve is None else _regained(loss, curve) for loss in found)


def _regained(loss: Loss, curve: GrowthCurve) -> Loss:
    """A loss with what later stretches say of its end."""
    before = curve.area_cm2[curve.days == loss.since]
    if not before.size or not np.isfinite(before[0]):
        return loss
    later = curve.days >= loss.day
    seen = {
        "recovered_days": curve.area_cm2,
        "recovered_low": curve.high_cm2,
        "recovered_high": curve.low_cm2,
    }
    told = {}
    for name, area in seen.items():
        back = np.flatnonzero(later & (area >= before[0]))
        if getattr(loss, name) is None and back.size:
            told[name] = int(curve.days[back[0]] - loss.day)
    return replace(loss, **told)
