"""Groups of plants whose difference is known are compared, and no more is claimed than can be."""

from math import exp, log

import numpy as np
import pytest
from scipy.stats import permutation_test as scipy_permutation
from scipy.stats import ttest_ind

from lapsekit.growth.contrasts import (
    alike,
    area_at,
    area_days,
    contrast,
    contrasts,
    rgr,
    rgr_ratio,
    welch_interval,
)
from lapsekit.growth.permutation import holm, permutation_interval, permutation_p, smallest_p
from lapsekit.growth.plants import Plant, common_stretch, growth_rate, log_area_at, log_area_days
from tests.bench.contrast_study import RGR_DIFFERENCE, study

AGES = tuple(range(10, 41))


def plant(name, start=1.0, rate=0.08, missing=(), ages=AGES):
    areas = [None if a in missing else start * exp(rate * (a - ages[0])) for a in ages]
    return Plant(name, tuple(ages), tuple(areas))


def side(values, letter):
    return {f"{letter}{n}": value for n, value in enumerate(values)}


def test_an_exponential_curve_becomes_its_own_numbers():
    curve = plant("x", 2.0, 0.08)
    assert log_area_at(curve, 25) == pytest.approx(log(2) + 0.08 * 15)
    assert growth_rate(curve, 10, 40) == pytest.approx(0.08)
    true_integral = 2 * (exp(0.08 * 30) - 1) / 0.08
    assert exp(log_area_days(curve, 10, 40)) == pytest.approx(true_integral, rel=1e-3)


def test_between_days_and_over_a_short_gap_the_curve_is_read_and_beyond_it_is_not():
    curve = plant("x", missing={20, 21, 22})
    assert log_area_at(curve, 21.5) == pytest.approx(0.08 * 11.5)
    hole = plant("x", missing={20, 21, 22, 23})
    assert np.isnan(log_area_at(hole, 21.5))
    assert np.isnan(log_area_days(hole, 10, 40))
    assert np.isnan(log_area_at(curve, 41))
    assert np.isnan(growth_rate(curve, 10, 12))


def test_the_stretch_that_all_plants_share_ends_with_the_first_that_ends():
    short = plant("y", missing=set(range(10, 15)) | {39, 40})
    assert common_stretch([plant("x"), short]) == (15, 38)


@pytest.mark.parametrize("counts", [(3, 3), (4, 4), (3, 5), (6, 4)])
def test_exact_p_is_that_of_an_independent_enumeration(counts):
    random = np.random.default_rng(3)
    first, second = (random.normal(n, 1, c) for n, c in enumerate(counts))

    def difference(a, b, axis):
        return np.mean(b, axis=axis) - np.mean(a, axis=axis)

    # A symmetric two-sided p: that of both tails by absolute difference.
    reference = scipy_permutation(
        (first, second), lambda a, b, axis: abs(difference(a, b, axis)), vectorized=True,
        n_resamples=np.inf, alternative="greater",
    )  # fmt: skip
    assert permutation_p(first, second) == pytest.approx(reference.pvalue)


def test_three_against_three_plants_can_never_be_called_different_and_it_is_said():
    found = contrast(side([1, 2, 3], "a"), side([101, 102, 103], "b"))
    assert found.p == found.smallest_p == pytest.approx(0.10)
    assert not found.is_claimed
    assert "0.10" in found.refusal
    assert found.interval_by == "Welch"
    assert [round(smallest_p(n, n), 3) for n in (3, 4, 5)] == [0.1, 0.029, 0.008]


def test_one_plant_a_side_gets_an_estimate_and_a_plain_refusal():
    found = contrast({"a": 1.0}, {"b": 2.0}, names=("fed", "unfed"))
    assert (found.estimate, found.p, found.low) == (1.0, None, None)
    assert "one plant a side cannot support a claim" in found.refusal
    assert "fed has 1 and unfed has 1" in found.refusal


def test_a_side_without_any_plant_has_no_estimate():
    found = contrast({"a": float("nan")}, side([1, 2], "b"))
    assert (found.estimate, found.without_number) == (None, ("a",))


def test_a_plant_cannot_stand_on_both_sides():
    with pytest.raises(ValueError, match="basil stands on both sides"):
        contrast({"basil": 1.0}, {"basil": 2.0})


def test_the_interval_ends_where_the_test_begins_to_reject():
    random = np.random.default_rng(4)
    first, second = random.normal(0, 1, 7), random.normal(1, 1, 7)
    low, high = permutation_interval(first, second, 0.95)
    for end, outward in ((low, -1e-6), (high, 1e-6)):
        assert permutation_p(first, second - (end - outward)) > 0.05
        assert permutation_p(first, second - (end + outward)) <= 0.05


def test_welchs_interval_is_that_of_another_library():
    random = np.random.default_rng(5)
    first, second = random.normal(0, 1, 5), random.normal(1, 3, 8)
    reference = ttest_ind(second, first, equal_var=False).confidence_interval(0.9)
    assert welch_interval(first, second, 0.9) == pytest.approx(reference)


def test_holm_multiplies_the_smallest_p_most_and_keeps_the_order():
    assert holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    assert holm([0.5, 0.9]) == [1.0, 1.0]
    assert holm([]) == []


def test_a_known_factor_of_area_and_of_growth_rate_lies_in_its_interval():
    """Second group 1.3 times as large at 10 days, growing 1.2 times as fast."""
    random = np.random.default_rng(6)

    def group(letter, size, rate):
        return [
            plant(f"{letter}{n}", size * exp(random.normal(0, 0.1)), rate + random.normal(0, 0.003))
            for n in range(8)
        ]

    groups = {"plain": group("a", 1, 0.08), "fed": group("b", 1.3, 0.096)}
    area, rate, ratio = contrasts(groups, [area_at(10), rgr(10, 40), rgr_ratio(10, 40)])
    assert exp(area.low) < 1.3 < exp(area.high)
    assert rate.low < 0.016 < rate.high
    assert exp(ratio.low) < 1.2 < exp(ratio.high)
    assert all(c.is_claimed for c in (area, rate, ratio))
    assert area.ratio == pytest.approx(1.3, rel=0.1)


def test_plants_of_no_group_are_compared_in_pairs_and_corrected_together():
    random = np.random.default_rng(7)
    groups = {
        g: [plant(f"{g}{n}", exp(random.normal(0, 0.2))) for n in range(5)] for g in ("a", "b", "c")
    }
    found = contrasts(groups, [area_at(40)])
    assert [(c.first, c.second) for c in found] == [("a", "b"), ("a", "c"), ("b", "c")]
    assert [c.p_corrected for c in found] == pytest.approx(holm([c.p for c in found]))
    assert alike(groups, area_at(40)) > 0.05
    assert alike({"a": groups["a"][:1], "b": groups["b"]}, area_at(40)) is None


def test_too_many_questions_to_few_plants_are_refused():
    groups = {g: [plant(f"{g}{n}", 1 + 9 * (g == "b") + n / 9) for n in range(4)] for g in "ab"}
    (one,) = contrasts(groups, [area_at(40)])
    three = contrasts(groups, [area_at(40), area_days(10, 40), rgr(10, 40)])
    assert one.is_claimed
    assert not any(c.is_claimed for c in three)
    assert "of 3 comparisons at once none can reach a corrected p below 0.09" in three[0].refusal


def test_without_a_true_difference_few_are_claimed_and_eight_a_side_find_what_a_t_test_finds():
    """The short form of `tests/bench/contrast_study.py`."""
    quiet = study(8, 0.0, 120)
    assert quiet.rate <= 0.08  # 5 % and what chance does in 120
    assert quiet.any_of_three <= 0.08
    assert quiet.covered >= 0.91
    assert quiet.pooled > 0.2, "the trap is one: pooled days claim far too often"
    assert study(4, 0.0, 120).rate <= 0.08
    assert study(3, 0.0, 20).rate == 0
    true = study(8, RGR_DIFFERENCE, 60)
    assert true.rate >= 0.8 * true.t_test > 0.4
