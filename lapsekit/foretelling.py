"""Stage: growth -> the laws it follows, how large it will become, and when covers are reached.

What was measured is told from the curve; what lies ahead from those growth laws that the days
support about equally well, never further than they support it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import hypot

import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.growing import Growth, has_value
from lapsekit.growth.fits import Comparison, Fit, fit_laws
from lapsekit.growth.reaching import day_reached
from lapsekit.growth.series import NORMAL
from lapsekit.progress import Track, silent
from lapsekit.season import Season

CLOSED = 1.0
"""Cover of a region whose canopy has closed."""

STILL_GROWS = 0.01
"""Growth rate per day that the last day's interval must reach down to where a plant levels off."""

LEAST_WEIGHT = 0.1
"""Akaike weight from which a law has a say in what lies ahead."""


@dataclass(frozen=True)
class Reached:
    """When a region is covered to a share; days are None where nothing can be said.

    `by` is "measured" or the laws that the answer rests on; `note` says what limits it.
    """

    cover: float
    day: date | None
    day_low: date | None
    day_high: date | None
    by: str
    note: str


@dataclass(frozen=True)
class Final:
    """Where a region's growth levels off, with the interval and the laws that say so.

    `is_reached` where the curve stands there, or above it, already: then it is nothing to come.
    """

    area_cm2: float
    low_cm2: float
    high_cm2: float
    by: str
    is_reached: bool


@dataclass(frozen=True)
class Foretold:
    """One region's growth laws, by plant age, its final area, and when covers are reached.

    `final` is None unless all laws that fit about equally well state one; `sown` is the ordinal of
    the day of sowing.
    """

    compared: Comparison
    final: Final | None
    reached: tuple[Reached, ...]
    sown: int


def foretell(
    season: Season,
    growths: Mapping[str, Growth],
    covers: Sequence[float] = (CLOSED,),
    track: Track = silent,
) -> dict[str, Foretold]:
    """Growth laws and dates of covers, for every region large enough to be asked.

    Parameters
    ----------
    season : Season
    growths : mapping of str to Growth
    covers : sequence of float
        Shares of the region, above 0 and up to 1.
    track : Track
        Told about progress: laws take about a quarter of a second each region.

    Raises
    ------
    SettingsError
        If a cover is out of range.

    Notes
    -----
    Laws are fitted to the days since the last sudden loss. Nothing is foretold of days after the
    one on which a region ends.
    """
    for cover in covers:
        if not 0 < cover <= 1:
            raise SettingsError(f"--cover {cover:g}: give a share above 0 and up to 1, such as 0.5")
    asked = [growth for growth in growths.values() if growth.asked]
    return {
        growth.region.name: _foretold(growth, season.sown(growth.region).toordinal(), covers)
        for growth in track(asked, len(asked), "growth laws")
    }


def _foretold(growth: Growth, sown: int, covers: Sequence[float]) -> Foretold:
    since = max((loss.day for loss in growth.losses), default=0)
    outline = growth.region.outline_on(growth.asked[-1].day)
    placed = outline.valid_from.toordinal() if outline else 0
    rows = [d for d in growth.asked if d.day.toordinal() >= since]
    days, areas, errors = growth.series(rows)
    compared = fit_laws(np.array(days, float) - sown, areas, errors)
    full = float(np.median([d.area_cm2 / d.cover for d in rows[-7:]]))
    found = [
        _measured(growth, cover, full, placed)
        or _until(growth.region.until, _ahead(compared, cover, full, sown))
        for cover in covers
    ]
    return Foretold(compared, _final(compared, growth), tuple(found), sown)


def _heard(compared: Comparison) -> list[Fit]:
    """The laws that the days support about equally well."""
    both = zip(compared.fits, compared.weights, strict=True)
    return [fit for fit, weight in both if weight >= LEAST_WEIGHT]


def _final(compared: Comparison, growth: Growth) -> Final | None:
    """The final area, where all laws heard state one and the curve's last days bear it out."""
    heard = _heard(compared)
    if not heard or any(fit.asymptote is None for fit in heard) or growth.curve is None:
        return None
    low = min(fit.asymptote_low for fit in heard)
    high = max(fit.asymptote_high for fit in heard)
    curve = growth.curve
    last = np.flatnonzero(has_value(curve) & np.isfinite(curve.rgr_low))[-1:]
    if not last.size:
        return None
    at, area = last[0], heard[0].asymptote
    # What all days have in common no fit to them shows
    common = NORMAL * float(curve.common[at]) * area
    low, high = max(0, area - hypot(area - low, common)), area + hypot(high - area, common)
    if curve.rgr_low[at] > STILL_GROWS or curve.low_cm2[at] > high:
        return None
    is_reached = bool(curve.area_cm2[at] >= area)
    return Final(area, low, high, ", ".join(fit.law for fit in heard), is_reached)


def _measured(growth: Growth, cover: float, full: float, placed: int) -> Reached | None:
    """When the curve came to a cover; None if it has not, or has not been drawn.

    Days before `placed` are left out: the region had another outline then.
    """
    if growth.curve is None:
        return None
    kept = has_value(growth.curve) & np.isfinite(growth.curve.area_cm2)
    kept &= growth.curve.days >= placed
    days, area = growth.curve.days[kept], cover * full
    mean, low, high = (
        getattr(growth.curve, name)[kept] for name in ("area_cm2", "low_cm2", "high_cm2")
    )
    at, may, surely = (np.flatnonzero(each >= area) for each in (mean, high, low))
    if not at.size:
        return None
    day, notes = int(days[at[0]]), []
    first = min(int(may[0]), int(at[0]))
    if first == 0:
        notes.append("or before: it was there on the first day")
    # It may have come on any day since the last that was measured before
    earliest = None if first == 0 else int(days[first - 1]) + 1
    latest = int(days[surely[0]]) if surely.size else None
    if latest is None:
        notes.append("not surely: the band still holds it")
    found = (date.fromordinal(each) if each else None for each in (day, earliest, latest))
    return Reached(cover, *found, "measured", "; ".join(notes))


def _ahead(compared: Comparison, cover: float, full: float, sown: int) -> Reached:
    """When the laws that fit about equally well come to a cover."""
    heard = _heard(compared)
    if not heard:
        why = "; ".join(sorted(set(compared.failed.values())))
        return Reached(cover, None, None, None, "", why or "no growth law fits")
    names = ", ".join(fit.law for fit in heard)
    found = [day_reached(fit, cover * full) for fit in heard]
    if found[0].day is None:
        return Reached(cover, None, None, None, names, _in_words(found[0].note, cover, full))
    told = [reach for reach in found if reach.day is not None]
    ends = [reach.high for reach in told]
    never = len(told) < len(found) or None in ends
    notes = [found[0].note, "it may never be reached" if never else ""]
    return Reached(
        cover,
        date.fromordinal(sown + round(found[0].day)),
        date.fromordinal(sown + int(np.floor(min(reach.low for reach in told)))),
        None if never else date.fromordinal(sown + int(np.ceil(max(ends)))),
        names,
        "; ".join(dict.fromkeys(part for note in notes for part in note.split("; ") if part)),
    )


def _until(end: date | None, ahead: Reached) -> Reached:
    """What lies ahead, unless it lies beyond the last day that a region is measured."""
    if end is None or ahead.day is None or ahead.day <= end:
        return ahead
    note = f"it ended on {end} before it came to a cover of {ahead.cover:.0%}"
    return replace(ahead, day=None, day_low=None, day_high=None, note=note)


def _in_words(note: str, cover: float, full: float) -> str:
    return note.replace(f"{cover * full:g} would", f"a cover of {cover:.0%} would").replace(
        f"stays below {cover * full:g}", f"stays below a cover of {cover:.0%}"
    )
