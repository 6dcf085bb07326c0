"""Ratios of two curves hold the truth as often as their intervals say."""

import numpy as np
import pytest

from lapsekit.growth.alignment import Line, side_by_side
from lapsekit.growth.curves import growth_curve

DAYS = np.arange(10, 50)


def line(seed, rate, at=None, noise=0.03):
    random = np.random.default_rng(seed)
    area = 4 * np.exp(rate * (DAYS - 10)) * np.exp(random.normal(0, noise, DAYS.size))
    curve = growth_curve(DAYS, area, noise * area)
    return Line(DAYS.astype(float) if at is None else at, curve.area_cm2, curve.low_cm2,
                curve.high_cm2)  # fmt: skip


def exact(rate, at=None):
    area = 4 * np.exp(rate * (DAYS - 10))
    return Line(DAYS.astype(float) if at is None else at, area, area / 1.02, area * 1.02)


def test_intervals_of_ratios_hold_the_truth():
    """Days of one pair hang together; over 150 pairs 93 to 99.5 % of days are inside."""
    inside = []
    for seed in range(150):
        found = side_by_side(line(2 * seed, 0.09), line(2 * seed + 1, 0.07))
        true = np.exp(0.02 * (DAYS[found.index] - 10))
        inside.append(((found.low <= true) & (true <= found.high)).mean())
    assert 0.93 < np.mean(inside) < 0.995


def test_how_far_ahead_is_read_on_the_clock():
    """4 e^(0.09 · 39) is reached at 0.07 per day after 39 · 9 / 7 days: not yet; 30 days are."""
    assert side_by_side(exact(0.09), exact(0.07)).ahead is None
    short = Line(*(each[:25] for each in vars(exact(0.09)).values()))
    assert side_by_side(short, exact(0.07)).ahead == pytest.approx(24 * 9 / 7 - 24)
    assert side_by_side(exact(0.07), exact(0.09)).ahead == pytest.approx(39 * 7 / 9 - 39)


def test_equal_curves_are_level_though_they_end_lower_than_they_were():
    fallen = exact(0.07)
    area = np.where(DAYS > 44, fallen.area_cm2 * 0.7, fallen.area_cm2)
    fallen = Line(fallen.at, area, area / 1.02, area * 1.02)
    assert side_by_side(fallen, fallen).ahead == pytest.approx(0)


def test_cold_days_stand_still_on_the_clock_and_are_read_as_one():
    """Ten days without warmth: both curves stand there; neither is divided by zero."""
    warmth = np.cumsum(np.where((DAYS >= 20) & (DAYS < 30), 0.0, 8.0))
    found = side_by_side(exact(0.05, warmth), exact(0.05, warmth))
    assert np.isfinite(found.ratio).all()
    assert found.ratio[DAYS[found.index] == 29] == pytest.approx(1)


def test_nothing_is_read_across_open_days_or_beyond_the_ends():
    earlier = exact(0.07)
    hole = np.where((DAYS >= 20) & (DAYS < 25), np.nan, 1.0)
    earlier = Line(earlier.at, *(each * hole for each in list(vars(earlier).values())[1:]))
    own = exact(0.07, DAYS + 5.5)
    found = side_by_side(own, earlier)
    places = own.at[found.index]
    assert places.max() <= 49 and places.min() >= 10
    assert not ((places > 19) & (places < 25)).any()
    apart = Line(own.at + 100, own.area_cm2, own.low_cm2, own.high_cm2)
    assert side_by_side(apart, earlier).index.size == 0


def test_bands_that_are_longer_on_one_side_make_the_ratio_so():
    """What may be too large above stands over what may be too small below."""
    own, earlier = exact(0.07), exact(0.07)
    own = Line(own.at, own.area_cm2, own.area_cm2 / 1.3, own.area_cm2 * 1.1)
    earlier = Line(earlier.at, earlier.area_cm2, earlier.area_cm2 / 1.2, earlier.area_cm2)
    found = side_by_side(own, earlier)
    assert found.low == pytest.approx(np.full(DAYS.size, 1 / 1.3))
    wanted = np.exp(np.hypot(np.log(1.1), np.log(1.2)))
    assert found.high == pytest.approx(np.full(DAYS.size, wanted))
