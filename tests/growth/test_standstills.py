"""Growth laws with and without a standstill, on plants whose every day is known."""

import numpy as np
import pytest

from lapsekit.growth.breaks import find_breaks
from lapsekit.growth.pauses import find_pauses
from lapsekit.growth.series import measured_series
from lapsekit.growth.standstills import Laws
from lapsekit.growth.trend import Trend
from lapsekit.growth.weighing import Prior
from tests.growth.plants import simulated

KINDS = ["logistic", "gompertz", "expolinear"]
PAUSE = (25.0, 33.0)
STARTS, ENDS = (each.ravel() for each in np.mgrid[5.0:55.0:2, 0.0:12.0:2])
ENDS = STARTS + 4 + ENDS


def laws_of(plant, paused=()):
    series = measured_series(plant.days, plant.area_cm2, plant.error_cm2)
    breaks = find_breaks(Prior(series))
    trend = Trend(breaks.weighed, breaks.columns(series))
    return Laws(breaks.weighed, ~breaks.bad, series.days[breaks.at], trend.scatter, paused)


def plant_of(kind, seed=1, noise=0.02, **more):
    return simulated(np.random.default_rng(seed), noise, rgr=0.08, kind=kind, **more)


@pytest.mark.parametrize("kind", KINDS)
def test_a_standstill_gains_most_where_it_was(kind):
    gains = laws_of(plant_of(kind, pause=PAUSE)).gains(STARTS, ENDS)
    best = int(gains.argmax())
    assert gains[best] > 40
    assert (STARTS[best], ENDS[best]) == pytest.approx(PAUSE, abs=2)


@pytest.mark.parametrize("kind", KINDS)
def test_steady_growth_gains_little_by_any_standstill(kind):
    for seed in range(4):
        assert laws_of(plant_of(kind, seed)).gains(STARTS, ENDS).max() < 10


@pytest.mark.parametrize("kind", KINDS)
def test_a_standstill_that_is_known_gains_nothing_more(kind):
    laws = laws_of(plant_of(kind, pause=PAUSE), [PAUSE])
    assert laws.gains(STARTS, ENDS).max() < 10
    assert laws.gain(50.0, 58.0) < 0


def test_a_knock_gains_more_as_a_jump_than_as_a_standstill():
    plant = plant_of("gompertz")
    plant.area_cm2[30:] *= 0.88
    laws = laws_of(plant)
    jump = laws.jump_gain(np.array([28.0, 30.0, 32.0]))
    assert jump > laws.gains(STARTS, ENDS).max() + 5


def test_short_pauses_are_found_in_noisy_days():
    """Six days at 0.05 to 0.1 per day and 4 % noise: the trend alone finds four in five."""
    random, found = np.random.default_rng(11), 0
    for _ in range(30):
        plant = simulated(random, rgr=random.uniform(0.05, 0.1), pause=(22.0, 28.0))
        pauses = find_pauses(plant.days, plant.area_cm2, plant.error_cm2)
        found += any(p.start < 28 and p.end > 22 for p in pauses)
    assert found >= 28
