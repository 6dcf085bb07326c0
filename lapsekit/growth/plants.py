"""One number for each plant: what a whole curve of daily areas comes to.

Days of one plant are no replicates: what one day is too large, the next is too. So every
comparison first boils a plant's days down to one number, and then asks how far these numbers
scatter between plants.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

#: Days between two values across which a curve may be read off on a straight line of ln area.
MAX_GAP_DAYS = 4.0
#: Values that a stretch of days must hold before a rate is read off it.
MIN_VALUES = 4


@dataclass(frozen=True)
class Plant:
    """One plant's curve.

    Attributes
    ----------
    name : str
        The region's name.
    ages_days : tuple of float, length n
        Plant age (or day, or hours: any time that runs alike for all plants), in rising order.
    areas : tuple of float or None, length n
        Canopy area in cm² (or cover); None on a day without a usable frame.
    """

    name: str
    ages_days: tuple[float, ...]
    areas: tuple[float | None, ...]

    def __post_init__(self) -> None:
        if len(self.ages_days) != len(self.areas):
            raise ValueError(
                f"{self.name}: {len(self.ages_days)} ages for {len(self.areas)} areas; one each"
            )
        if any(b <= a for a, b in zip(self.ages_days, self.ages_days[1:], strict=False)):
            raise ValueError(f"{self.name}: ages must rise from day to day")

    @cached_property
    def log_curve(self) -> tuple[np.ndarray, np.ndarray]:
        """Ages (m,) and ln areas (m,) of the days that have an area above zero."""
        known = [
            (age, np.log(area))
            for age, area in zip(self.ages_days, self.areas, strict=True)
            if area is not None and area > 0
        ]
        ages, logs = np.array(known, dtype=float).reshape(-1, 2).T
        return ages, logs


def log_area_at(plant: Plant, age_days: float) -> float:
    """Natural log of the area at a plant age, read off between the days around it.

    Parameters
    ----------
    plant : Plant
    age_days : float
        Within the plant's days; outside them nothing is known.

    Returns
    -------
    float
        NaN outside the curve, or in a gap longer than `MAX_GAP_DAYS`.
    """
    ages, logs = plant.log_curve
    at = int(np.searchsorted(ages, age_days))
    if at < len(ages) and ages[at] == age_days:
        return float(logs[at])
    if not 0 < at < len(ages) or ages[at] - ages[at - 1] > MAX_GAP_DAYS:
        return float("nan")
    return float(np.interp(age_days, ages, logs))


def log_area_days(plant: Plant, first_days: float, last_days: float) -> float:
    """Natural log of the area under the curve between two ages (ln of cm² · days).

    Trapezia between the days that have a value; NaN unless the curve reaches from the first age
    to the last without a gap longer than `MAX_GAP_DAYS`.

    Raises
    ------
    ValueError
        If the last age does not lie after the first.
    """
    _require_stretch(first_days, last_days)
    ends = [log_area_at(plant, age) for age in (first_days, last_days)]
    ages, logs = plant.log_curve
    inside = (ages > first_days) & (ages < last_days)
    ages = np.concatenate([[first_days], ages[inside], [last_days]])
    areas = np.exp(np.concatenate([ends[:1], logs[inside], ends[1:]]))
    steps = np.diff(ages)
    if not np.isfinite(ends).all() or steps.max() > MAX_GAP_DAYS:
        return float("nan")
    return float(np.log(steps @ (areas[1:] + areas[:-1]) / 2))


def growth_rate(plant: Plant, first_days: float, last_days: float) -> float:
    """Relative growth rate between two ages, per day: one slope of ln area on age.

    By least squares (Hoffmann & Poorter 2002, Annals of Botany 90: 37-42). NaN where the stretch
    holds fewer than `MIN_VALUES` values, or where more than `MAX_GAP_DAYS` at its ends have none:
    a plant first seen late would be judged by other, perhaps warmer, days than its neighbours.

    Raises
    ------
    ValueError
        If the last age does not lie after the first.
    """
    _require_stretch(first_days, last_days)
    ages, logs = plant.log_curve
    inside = (ages >= first_days) & (ages <= last_days)
    if inside.sum() < MIN_VALUES:
        return float("nan")
    ages, logs = ages[inside], logs[inside]
    if max(ages[0] - first_days, last_days - ages[-1]) > MAX_GAP_DAYS:
        return float("nan")
    away = ages - ages.mean()
    return float(away @ logs / (away @ away))


def common_stretch(plants: Sequence[Plant]) -> tuple[float, float] | None:
    """First and last age at which every plant has a value; None where there is no such stretch."""
    curves = [plant.log_curve[0] for plant in plants]
    if not curves or any(not len(ages) for ages in curves):
        return None
    first, last = max(ages[0] for ages in curves), min(ages[-1] for ages in curves)
    return (float(first), float(last)) if first < last else None


def _require_stretch(first_days: float, last_days: float) -> None:
    if not first_days < last_days:
        raise ValueError(
            f"from {first_days:g} to {last_days:g} days is no stretch; give a later end"
        )
