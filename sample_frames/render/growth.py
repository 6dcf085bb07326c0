"""The growth law: each plant's total leaf area by day time.

Between events the leaf area A (one side, cm²) follows

    dA/dt = rate · warmth(day) · factor(t) · A · (1 - (A / full) ** bend)

(Richards 1959, J. Exp. Bot. 10:290, doi:10.1093/jxb/10.2.290). The factor is 1 but for the
story's events; a harvest divides A at once.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from . import story
from .story import PLANTS, Grown
from .weather import warmth

STEP_DAYS = 1 / 24
LAST_TIME = 78.0


SLOWED = {  # by plant: since (day time), for how many days, and to what share of its rate
    "basil": (
        (story.POTTED_ON, story.PAUSE_DAYS, 0.06),
        (story.COLD, story.COLD_DAYS, 0.25),
    ),
    "sunflower": ((story.COLD, story.COLD_DAYS - 1, 0.3),),
    "chard": ((story.REPLANTED, story.DROOP_DAYS, 0.12),),
    "pak-choi": ((story.GNAWED, story.GNAWED_UNTIL - story.GNAWED, 0.8),),
}


def factor(name: str, time: float) -> float:
    """What the story's events multiply a plant's relative growth rate by."""
    if name.startswith("tray-b") and time >= story.FED:
        return story.FEED_FACTOR
    slowed = SLOWED.get(name, ())
    return next((f for since, days, f in slowed if since <= time < since + days), 1.0)


@cache
def _law(name: str) -> tuple[np.ndarray, np.ndarray]:
    plant = by_name(name)
    times = np.arange(plant.emerges, LAST_TIME, STEP_DAYS)
    area = np.empty(len(times))
    area[0] = plant.start_cm2
    for i in range(1, len(times)):
        before, time = area[i - 1], times[i - 1]
        speed = plant.rate * warmth(int(time)) * factor(name, time)
        room = 1 - (before / plant.full_cm2) ** plant.bend
        area[i] = before * np.exp(STEP_DAYS * speed * room)
        if name == "green-lettuce" and time <= story.CUT < times[i]:
            area[i] *= 1 - story.CUT_SHARE
    return times, area


@cache
def by_name(name: str) -> Grown:
    """The plant of that name."""
    return next(p for p in PLANTS if p.name == name)


def leaf_area_cm2(name: str, time: float) -> float:
    """Total leaf area (one side) by the growth law, in cm²; 0 before the plant emerges."""
    times, area = _law(name)
    if time < times[0]:
        return 0.0
    if name == "green-lettuce":  # no blending across the cut
        before = times <= story.CUT
        part = before if time <= story.CUT else ~before
        times, area = times[part], area[part]
    return float(np.exp(np.interp(time, times, np.log(area))))
