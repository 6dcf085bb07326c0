"""The short form of `tests/bench/growth_study.py`: bands, pauses and losses keep their promises."""

import numpy as np
import pytest

from tests.bench.growth_study import study


@pytest.fixture(scope="module")
def found():
    return study(plants=150, noise=0.04, rho=0.4, seed=8)


def share(values):
    return float(np.mean(values))


def test_bands_hold_the_truth_as_often_as_they_say(found):
    assert 0.92 <= share(found["area covered"]) <= 0.985
    assert 0.92 <= share(found["RGR covered"]) <= 0.99


def test_pauses_that_cost_enough_are_found_where_they_were(found):
    assert share(found["power at cost 0.45 to 2"]) >= 0.95
    assert np.median(found["start error"]) <= 1
    assert np.median(found["end error"]) <= 1
    assert share(found["start covered"]) >= 0.9


def test_hardly_a_plant_without_a_pause_has_one_claimed(found):
    assert sum(found["false pause"]) <= 2


@pytest.mark.parametrize("mishap", ["knock", "obstruction", "crowded end"])
def test_hardly_a_mishap_that_was_flagged_is_called_a_pause(found, mishap):
    assert sum(found[f"{mishap} called a pause"]) <= 2


def test_the_rate_over_seven_days_is_within_the_error_asked_for(found):
    assert np.sqrt(np.mean(np.square(found["7-day RGR error"]))) <= 0.008


def test_cuts_are_found_with_their_share(found):
    assert share(found["cut found"]) >= 0.97
    assert share(found["share covered"]) >= 0.85
    assert sum(found["false loss"]) <= 3
