"""The growth model worked with narrow bands comes to what its definition says."""

import numpy as np
import pytest

from lapsekit.growth.forms import steps
from lapsekit.growth.kinks import Kinks
from lapsekit.growth.series import Series
from lapsekit.growth.trend import Trend
from lapsekit.growth.weighing import CORRELATION, Prior, Weighed
from tests.growth.dense import Dense, bends


@pytest.fixture(scope="module", params=[0, 1, 2, 3])
def both(request):
    """Missing days, a long gap, unequal errors, breaks, a bad day, turns, both sets of casts."""
    random = np.random.default_rng(request.param)
    days = np.sort(random.choice(np.arange(738_000, 738_050), 36, replace=False)).astype(float)
    days[20:] += 17 * (request.param == 1)
    error = 0.03 * np.exp(random.normal(0, 0.5, days.size))
    logs = 1 + 0.06 * (days - days[0]) + error * random.normal(size=days.size)
    series = Series(days, logs + 0.4 * (days >= days[12]), error, 0 * error)
    turns = np.zeros(series.calendar.size)
    turns[[7, 8, 9]] = 0.05
    unsure = np.zeros(days.size)
    unsure[[3, 25]] = 1e4, 1.7
    known = steps(days, days[[12, 30]])
    if request.param == 2:
        turns, unsure, known = 0 * turns, 0 * unsure, known[:, :0]
    prior = Prior(series, turns)
    if request.param == 3:
        prior = prior.swaying()
    return Trend(Weighed(prior, unsure), known), Dense(series, turns, unsure, known, prior.casts)


def test_casts_get_the_weight_that_whole_matrices_give_them(both):
    trend, dense = both
    assert trend.freedom == dense.freedom
    assert trend.shares == pytest.approx(dense.shares, rel=1e-6, abs=1e-12)


def test_steps_and_single_days_gain_what_they_would_as_columns(both):
    trend, dense = both
    days = trend.series.days
    for tries, columns in (
        (trend.weighed.steps, steps(days, days)),
        (trend.weighed.spikes, np.eye(days.size)),
    ):
        gains = trend.gains(tries)
        for place in (1, 2, 5, 11, 20, 21, 28, days.size - 2, days.size - 1):
            gain, size = dense.gain(columns[:, place])
            assert gains.gain[place] == pytest.approx(gain, rel=1e-5, abs=1e-5)
            assert gains.size[place] == pytest.approx(size, rel=1e-5, abs=1e-8)


def test_slopes_between_two_moments_gain_what_they_would_as_columns(both):
    trend, dense = both
    days = trend.series.days
    knots = np.arange(days[0], days[-1] + 0.5, 0.5)
    first, last = np.array([[6, 13], [6, 70], [25, 60], [40, 79], [44, 52]]).T
    gains = trend.gains(trend.weighed.spells(knots, first, last))
    for place, (one, two) in enumerate(zip(first, last, strict=True)):
        column = bends(days, knots[[one, two]]) @ [1, -1]
        gain, size = dense.gain(column)
        assert gains.gain[place] == pytest.approx(gain, rel=1e-5, abs=1e-5)
        assert gains.size[place] == pytest.approx(size, rel=1e-5, abs=1e-8)


def test_curve_and_rates_with_their_bands_are_those_of_whole_matrices(both):
    trend, dense = both
    every = trend.series.calendar
    known = steps(every, trend.series.days[[12, 30]])[:, : trend.known_count]
    level, rate = trend.estimate(trend.levels(every, known)), trend.estimate(trend.rates(every))
    for found, true in ((level, dense.levels(every, known)), (rate, dense.rates(every))):
        for values, wanted in zip((found.mean, found.low, found.high), true, strict=True):
            assert values == pytest.approx(wanted, abs=1e-7)


def test_rates_between_days_are_those_of_whole_matrices(both):
    trend, dense = both
    at = trend.series.calendar[5:40:7] + 0.25
    found = trend.estimate(trend.rates(at))
    for values, wanted in zip((found.mean, found.low, found.high), dense.rates(at), strict=True):
        assert values == pytest.approx(wanted, abs=1e-7)


def test_a_difference_of_days_is_surer_than_the_days_by_themselves(both):
    """Whatever the trend was, one day less itself is surely nothing."""
    trend, _ = both
    at = trend.series.calendar[[10, 11, 30]]
    gained = trend.estimate(trend.levels(at).less(trend.levels(at[:1])))
    assert [gained.low[0], gained.high[0]] == pytest.approx([0, 0], abs=1e-6)
    assert gained.high[1] - gained.low[1] < gained.high[2] - gained.low[2]


@pytest.mark.parametrize("correlation", CORRELATION)
def test_no_line_and_no_parabola_has_kinks(correlation):
    random = np.random.default_rng(3)
    days = np.cumsum(random.integers(1, 4, 30)).astype(float)
    kinks = Kinks(days, np.exp(random.normal(0, 0.5, 30)), correlation)
    assert kinks.of(np.vander(days / 60, 3)) == pytest.approx(0, abs=1e-12)
    assert np.abs(kinks.of(days[:, None] ** 3)).min() > 1e-4


@pytest.mark.parametrize("growing", [1 / 0.7, 1 / 0.7 + 1e-3])
def test_sizes_that_would_make_two_kinks_the_same_do_not_spoil_the_fit(growing):
    """Each day's error is larger than the last by what carries over: nothing fresh is left."""
    days = np.arange(30.0)
    error = 0.01 * growing ** np.clip(days - 12, 0, 5)
    logs = 0.1 * days + error * np.random.default_rng(2).normal(size=30)
    series = Series(days, logs, error, 0 * error)
    nothing = np.zeros(30), np.zeros(30), np.empty((30, 0))
    trend, dense = Trend(Weighed(Prior(series))), Dense(series, *nothing)
    assert trend.shares == pytest.approx(dense.shares, rel=0.02, abs=1e-4)
    found, true = trend.estimate(trend.levels(days)), dense.levels(days, nothing[2])
    assert found.mean == pytest.approx(true[0], abs=2e-4)


def test_a_year_is_as_exact_as_a_month():
    """The same days seen from a year's ends: far days move nothing beside them."""
    random = np.random.default_rng(6)
    days = np.arange(400.0)
    logs = 5 * np.tanh(days / 60) + 0.02 * random.normal(size=400)
    series = Series(days, logs, np.full(400, 0.02), np.zeros(400))
    turned = Series(days, logs[::-1].copy(), series.error, series.lasting)
    one, two = (Trend(Weighed(Prior(each))) for each in (series, turned))
    assert one.shares == pytest.approx(two.shares, rel=1e-5)
    there, back = (t.estimate(t.levels(days)) for t in (one, two))
    assert there.mean == pytest.approx(back.mean[::-1], abs=1e-7)
    assert there.high - there.low == pytest.approx((back.high - back.low)[::-1], rel=1e-5)
