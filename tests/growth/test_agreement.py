"""Known errors come out of the comparison as they were put in."""

from datetime import date, timedelta

import numpy as np
import pytest

from lapsekit.growth.agreement import Pair, agreement, day_to_day, overall

START = date(2031, 4, 1)


def pairs(errors, true=100.0, half=None):
    return [
        Pair(
            START + timedelta(n),
            true,
            true * (1 + e),
            None if half is None else true * (1 + e - half),
            None if half is None else true * (1 + e + half),
        )
        for n, e in enumerate(errors)
    ]


def test_median_bias_and_worst_day_are_those_put_in():
    found = agreement(pairs([0.01, -0.02, 0.03, -0.20, 0.0]), 15)
    assert found.days == 5
    assert found.median_error == pytest.approx(0.02)
    assert found.bias == pytest.approx(-0.036)
    assert (found.worst_day, found.worst_error) == (START + timedelta(3), pytest.approx(-0.2))
    assert found.p95_error == pytest.approx(0.166)


def test_small_plants_do_not_count_and_missing_values_are_told():
    days = [*pairs([0.5], true=14.9), *pairs([0.1], true=15.0), Pair(START, 20.0, None)]
    found = agreement(days, 15)
    assert (found.days, found.without_value) == (2, 1)
    assert found.median_error == pytest.approx(0.1)


def test_intervals_cover_what_they_hold():
    found = agreement(pairs([0.01, 0.03, -0.04, 0.06], half=0.05), 15)
    assert found.covered == 0.75
    assert found.half_width == pytest.approx(0.05, rel=0.05)


def test_without_any_day_nothing_is_claimed():
    found = agreement([], 15)
    assert found.days == 0
    assert found.median_error is None
    assert found.covered is None


def test_overall_counts_every_days_value_once():
    both = {"a": pairs([0.1] * 3), "b": pairs([0.0])}
    assert overall(both, 15).bias == pytest.approx(0.075)


@pytest.mark.parametrize(("noise", "memory"), [(0.02, 0.0), (0.04, 0.5)])
def test_scatter_and_memory_of_errors_are_those_put_in_and_drift_is_not(noise, memory):
    random = np.random.default_rng(4)
    by_region = {}
    for number in range(40):
        errors = [random.normal(0, noise)]
        for _ in range(69):
            new = random.normal(0, noise * np.sqrt(1 - memory**2))
            errors.append(memory * errors[-1] + new)
        drift = 0.1 * np.linspace(-1, 1, 70) ** 2
        by_region[str(number)] = pairs(np.expm1(np.array(errors) + drift))
    found = day_to_day(by_region, 15)
    assert found.regions == 40
    assert found.scatter == pytest.approx(noise, rel=0.1)
    assert found.correlation == pytest.approx(memory, abs=0.09)  # taking drift out takes some away


def test_a_few_days_tell_no_scatter():
    assert day_to_day({"a": pairs([0.01] * 19)}, 15).regions == 0
