"""How many plants a side are needed, against tables and against playing it through."""

from math import exp, inf, log

import numpy as np
import pytest

from lapsekit.growth.permutation import permutation_p
from lapsekit.growth.planning import (
    least_plants,
    plants_needed,
    power_of,
    scatter_between,
    smallest_ratio,
)


@pytest.mark.parametrize(("effect", "plants"), [(0.5, 64), (0.8, 26), (1.0, 17)])
def test_plants_needed_are_those_of_the_printed_power_tables(effect, plants):
    """Two-sided 5 %, power 80 %: 64, 26 and 17 a side (Cohen 1988, table 2.4.1)."""
    plan = plants_needed(effect * 0.2, 0.2)
    assert plan.plants == plants
    assert 0.8 <= plan.power < 0.83


def test_however_large_a_difference_fewer_than_four_a_side_are_never_planned():
    plan = plants_needed(50, 0.1)
    assert (plan.plants, plan.least_plants, least_plants(0.95)) == (4, 4, 4)
    assert power_of(3, 1000) == 0
    assert smallest_ratio(3, 0.1) == inf


@pytest.mark.parametrize(("plants", "effect"), [(5, 2.2), (8, 1.5)])
def test_the_power_promised_is_the_power_that_the_test_has(plants, effect):
    random = np.random.default_rng(8)
    draws = random.normal(0, 1, (600, 2, plants))
    found = np.mean([permutation_p(a, b + effect) <= 0.05 for a, b in draws])
    assert power_of(plants, effect) == pytest.approx(found, abs=0.07)


def test_a_difference_too_small_for_any_bench_is_said_to_be():
    assert plants_needed(0.001, 1.0).plants is None


def test_scatter_within_groups_is_found_and_the_difference_between_them_is_not_in_it():
    random = np.random.default_rng(9)
    groups = [random.normal(level, 0.2, 40) for level in (0, 5)]
    found = scatter_between([*groups, [float("nan"), 1.0]])
    assert found.sd == pytest.approx(0.2, rel=0.15)
    assert found.low < 0.2 < found.high
    assert found.free == 78


def test_the_scatters_interval_covers_the_true_one_as_often_as_it_says():
    random = np.random.default_rng(10)
    found = [scatter_between(random.normal(0, 0.3, (2, 4))) for _ in range(1000)]
    assert np.mean([s.low <= 0.3 <= s.high for s in found]) == pytest.approx(0.95, abs=0.02)


def test_single_plants_tell_nothing_of_scatter():
    assert scatter_between([[1.0], [2.0]]) is None


def test_the_smallest_ratio_that_plants_find_needs_just_these_plants():
    ratio = smallest_ratio(20, 0.2)
    assert plants_needed(log(ratio) * 1.001, 0.2).plants == 20
    assert ratio == pytest.approx(exp(0.2 * 0.909), rel=0.01)  # Cohen: d = 0.91 for 20 a side


@pytest.mark.parametrize("wrong", [(0, 0.1), (0.1, 0), (float("nan"), 0.1), (0.1, -1)])
def test_numbers_that_mean_nothing_are_refused(wrong):
    with pytest.raises(ValueError, match="give one"):
        plants_needed(*wrong)
