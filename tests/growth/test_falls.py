"""A fall since yesterday is told when it is real, and hardly ever when it is chance."""

import numpy as np
import pytest

from lapsekit.growth.falls import Change, falls, last_change
from tests.growth.plants import simulated


def change_of(plant, upto):
    measured = np.isfinite(plant.area_cm2[:upto])
    series = (plant.days, plant.area_cm2, plant.error_cm2)
    return last_change(*(each[:upto][measured] for each in series))


def test_chance_and_rough_days_raise_few_alarms():
    """Ten plants of 4 % errors, every day of 60 asked: fewer than one alarm in 300 plant days."""
    random = np.random.default_rng(7)
    asked = told = 0
    for _ in range(12):
        plants = {str(k): simulated(random, 0.04, 0.4, 60) for k in range(10)}
        for day in range(15, 60):
            changes = {name: change_of(plant, day) for name, plant in plants.items()}
            changes = {name: c for name, c in changes.items() if c is not None}
            asked += len(changes)
            told += len(falls(changes))
    assert asked > 4000
    assert told / asked < 1 / 300


@pytest.mark.parametrize(("noise", "share", "least"), [(0.01, 0.2, 0.95), (0.04, 0.45, 0.95)])
def test_a_cut_is_told_on_its_day(noise, share, least):
    random = np.random.default_rng(8)
    seen = []
    for _ in range(60):
        plant = simulated(random, noise, 0.4, 40, cut=(30, share), gaps=False)
        changes = {"cut": change_of(plant, 31)}
        for k in range(4):
            other = simulated(random, noise, 0.4, 40, gaps=False)
            changes[str(k)] = change_of(other, 31)
        found = falls(changes)
        seen.append("cut" in found)
        if "cut" in found:
            assert found["cut"].share == pytest.approx(share, abs=0.06 + 4 * noise)
    assert np.mean(seen) >= least


def test_what_all_plants_lost_alike_is_no_single_plants_alarm():
    """A camera that lifted, say: everything reads a fifth smaller."""
    alike = {name: Change(4, 5, -0.2 - k / 100, -0.25 - k / 100, 0.02)
             for k, name in enumerate("abcd")}  # fmt: skip
    assert falls(alike) == {}
    assert set(falls(alike | {"e": Change(4, 5, -0.6, -0.65, 0.02)})) == {"e"}


def test_a_hole_of_days_or_too_few_days_tell_nothing():
    days = np.arange(12)
    area = np.full(12, 20.0)
    assert last_change(days, area, area / 50) is not None
    days[-1] += 3
    assert last_change(days, area, area / 50) is None
    assert last_change(days[:6], area[:6], area[:6] / 50) is None
