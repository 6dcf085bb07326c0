"""Growth curves of plants whose every day is known."""

import time

import numpy as np
import pytest

from lapsekit.growth.curves import MOST_GAP_DAYS, growth_curve
from tests.growth.plants import correlated, simulated

DAYS = np.arange(60)


def measured(true, noise=0.03, seed=1):
    errors = noise * correlated(np.random.default_rng(seed), len(true), 0.4)
    return true * np.exp(errors), noise * true


def exponential(rgr=0.08):
    return 3 * np.exp(rgr * DAYS)


def test_exact_exponential_growth_gives_its_rate_and_doubling_time():
    true = exponential()
    curve = growth_curve(DAYS, true, 0.02 * true)
    assert curve.area_cm2 == pytest.approx(true, rel=0.002)
    assert curve.rgr_per_day == pytest.approx(0.08, abs=0.0005)
    assert curve.doubling_days == pytest.approx(np.log(2) / 0.08, rel=0.01)
    assert (curve.doubling_low < curve.doubling_days).all()
    assert (curve.doubling_days < curve.doubling_high).all()


def test_the_curve_is_nearer_to_the_truth_than_the_days_are():
    true = exponential()
    area, error = measured(true, 0.05)
    curve = growth_curve(DAYS, area, error)
    away = np.std(np.log(curve.area_cm2 / true))
    assert away < 0.6 * np.std(np.log(area / true))


@pytest.mark.parametrize("own", [0.02, 22.0])
@pytest.mark.parametrize("lasting", [0.0, 22.0])
def test_a_band_goes_no_further_than_the_days_say_however_unsure_they_are(own, lasting):
    """Of 2.3 cm² that may be 45: twenty times as much, not the twentieth power."""
    area = np.full(12, 2.3)
    unsure = np.full(12, lasting)
    curve = growth_curve(np.arange(12), area, np.full(12, own), lasting_cm2=unsure)
    assert curve.area_cm2 == pytest.approx(area, rel=0.05)
    assert (curve.high_cm2 < 2.3 + 2.5 * 1.96 * np.hypot(own, lasting)).all()
    if lasting:
        assert (curve.high_cm2 > 0.8 * 1.96 * lasting).all()


def test_a_plant_that_loses_leaves_ends_with_a_falling_curve():
    true = 100 * np.exp(0.05 * np.minimum(DAYS, 40) - 0.04 * np.maximum(DAYS - 40, 0))
    area, error = measured(true)
    curve = growth_curve(DAYS, area, error)
    assert curve.area_cm2[-1] < 0.75 * curve.area_cm2[40]
    assert curve.rgr_high[-3] < 0
    assert np.isnan(curve.doubling_days[-5:]).all()


def test_a_cut_is_a_break_and_not_smeared():
    """Half the canopy goes on day 30: the days beside it are not drawn together."""
    true = exponential() * np.where(DAYS >= 30, 0.5, 1)
    area, error = measured(true)
    curve = growth_curve(DAYS, area, error)
    assert curve.breaks.tolist() == [30]
    assert curve.area_cm2[29:31] == pytest.approx(true[29:31], rel=0.06)
    assert curve.rgr_per_day == pytest.approx(0.08, abs=0.015)


def test_a_bad_day_among_the_first_carries_no_weight():
    true = exponential()[:9]
    area, error = measured(true, 0.01)
    area[4] *= 0.4
    curve = growth_curve(DAYS[:9], area, error)
    assert curve.days[curve.bad].tolist() == [4]
    assert curve.area_cm2 == pytest.approx(true, rel=0.03)


def test_a_cut_on_the_last_day_is_followed():
    area, error = measured(exponential())
    area[-1] *= 0.5
    curve = growth_curve(DAYS, area, error)
    assert curve.breaks.tolist() == [59]
    assert curve.area_cm2[-1] == pytest.approx(area[-1], rel=0.1)


def test_a_hole_of_a_week_stays_open_and_one_of_two_days_does_not():
    area, error = measured(exponential())
    area[20:22] = np.nan
    area[30:37] = np.nan
    curve = growth_curve(DAYS, area, error)
    assert np.flatnonzero(np.isnan(curve.area_cm2)).tolist() == list(range(30, 37))
    assert np.flatnonzero(~curve.measured).tolist() == [20, 21, *range(30, 37)]


def test_a_bridged_day_is_less_sure_than_if_it_were_measured():
    area, error = measured(exponential(), 0.05)
    whole = growth_curve(DAYS, area, error)
    area[56 - MOST_GAP_DAYS : 56] = np.nan
    bridged = growth_curve(DAYS, area, error)
    assert np.isfinite(bridged.area_cm2).all()
    width = [np.log(c.high_cm2 / c.low_cm2)[54] for c in (whole, bridged)]
    assert width[1] > 1.02 * width[0]


def test_gross_outliers_and_a_hole_leave_the_curve_within_its_bands():
    """2 % gross outliers and a hole of 44 hours (a day and more): 90 % of days inside at least."""
    inside, drawn = 0, 0
    for seed in range(20):
        random = np.random.default_rng(seed)
        true = exponential()
        area, error = measured(true, 0.03, seed)
        for wrong in (12, int(random.integers(30, 59))):
            area[wrong] *= random.choice([0.4, 1.9])
        area[25:27] = np.nan
        curve = growth_curve(DAYS, area, error)
        inside += ((curve.low_cm2 <= true) & (true <= curve.high_cm2)).sum()
        drawn += np.isfinite(curve.area_cm2).sum()
        assert curve.bad[12]
    assert inside / drawn > 0.9


def test_days_stated_as_unsure_move_the_curve_less():
    """The last four days read 4 % too large: stated as unsure, they lift the curve's end less."""
    area, error = measured(exponential(), 0.03)
    late = DAYS >= 56
    moved, unsure = area * np.where(late, 1.04, 1), error * np.where(late, 5, 1)
    shifts = [
        growth_curve(DAYS, moved, e).area_cm2[-1] / growth_curve(DAYS, area, e).area_cm2[-1] - 1
        for e in (error, unsure)
    ]
    assert abs(shifts[1]) < 0.5 * shifts[0]


def test_known_turns_let_the_rate_change_faster_there():
    """Told of a pause's ends, the curve's rate within the pause is nearer to the truth."""
    true = 3 * np.exp(0.09 * (DAYS - np.clip(DAYS - 30, 0, 6)))
    area, error = measured(true, 0.04)
    untold = growth_curve(DAYS, area, error)
    told = growth_curve(DAYS, area, error, turns=[(29.5, 30.5), (35.5, 36.5)])
    inside = slice(31, 36)
    assert np.abs(told.rgr_per_day[inside]).mean() < np.abs(untold.rgr_per_day[inside]).mean()
    assert np.abs(told.rgr_per_day[inside]).mean() < 0.02


def test_what_days_state_beyond_their_scatter_is_held_common_to_them():
    """Ten plants, errors stated twice too large: rates know it by what a growing plant changes."""
    areas, rates = [], []
    for seed in range(10):
        area, error = measured(exponential(), 0.04, seed)
        curves = [growth_curve(DAYS, area, factor * error) for factor in (1, 2)]
        areas.append([np.log(c.high_cm2 / c.low_cm2).mean() / 2 for c in curves])
        rates.append([(c.rgr_high - c.rgr_low).mean() for c in curves])
    once, twice = np.mean(areas, axis=0)
    assert 0.05 < np.mean([growth_curve(DAYS, area, 2 * error).common]) < 0.07
    common = 1.96 * np.sqrt(0.08**2 - 0.04**2)
    assert 0.8 * common < np.sqrt(twice**2 - once**2) < common
    once, twice = np.mean(rates, axis=0) / 2
    assert np.sqrt(twice**2 - once**2) == pytest.approx(0.08 * common, rel=0.2)


@pytest.mark.parametrize(("days", "least"), [(60, 0.9), (20, 0.85), (12, 0.75)])
def test_the_band_holds_the_truth_where_all_days_err_alike(days, least):
    """Forty plants, each read too large or too small by what its days state, less as it grows."""
    random = np.random.default_rng(4)
    held, rates = [], []
    for seed in range(40):
        true = exponential()[:days]
        alike = random.normal(0, 0.06) * (true / true[days // 2]) ** -0.3
        area, _ = measured(true * np.exp(alike), 0.015, seed)
        error = np.hypot(0.06 * (true / true[days // 2]) ** -0.3, 0.015)
        curve = growth_curve(DAYS[:days], area, error * area)
        held.append(np.mean((curve.low_cm2 < true) & (true < curve.high_cm2)))
        rates.append(np.mean((curve.rgr_low < 0.08) & (curve.rgr_high > 0.08)))
    assert np.mean(held) > least
    assert np.mean(rates) > least


def test_leaves_that_hang_and_stand_up_again_are_followed():
    """Half the canopy hangs on day 30 and is back within six days, no day of which is a bad one."""
    hung = np.ones(DAYS.size)
    hung[30:36] = 0.5, 0.53, 0.62, 0.78, 0.92, 0.98
    true = exponential(0.05) * hung
    for seed in range(5):
        area, error = measured(true, 0.02, seed)
        curve = growth_curve(DAYS, area, error)
        assert curve.breaks.tolist() == [30]
        assert not curve.bad.any()
        assert curve.area_cm2[28:40] == pytest.approx(true[28:40], rel=0.06)
        assert curve.rgr_per_day[[25, 45]] == pytest.approx(0.05, abs=0.01)


def test_what_days_share_with_those_near_them_widens_the_band_and_weighs_no_day_down():
    """Hanging leaves of which ten percent may be soil: they are followed as others are."""
    hung = np.ones(DAYS.size)
    hung[30:36] = 0.5, 0.53, 0.62, 0.78, 0.92, 0.98
    true = exponential(0.05) * hung
    for seed in range(5):
        area, error = measured(true, 0.02, seed)
        lasting = np.where(hung < 1, 0.10, 0.02) * area
        curve = growth_curve(DAYS, area, error, lasting_cm2=lasting)
        assert not curve.bad.any()
        assert curve.area_cm2[28:40] == pytest.approx(true[28:40], rel=0.07)
        half = np.log(curve.high_cm2 / curve.area_cm2)
        assert half[30:36].min() > 1.96 * 0.09
        assert half[5:28].max() < 1.96 * 0.06


def test_a_seedling_whose_growth_slows_within_days_is_followed():
    """The rate falls from 0.35 to 0.1 a day within a fortnight, and the days are sure to 1 %."""
    rate = 0.08 + 0.27 / (1 + np.exp((DAYS - 14) / 2.5))
    true = 0.5 * np.exp(np.cumsum(rate))
    for seed in range(5):
        area, error = measured(true, 0.01, seed)
        curve = growth_curve(DAYS, area, error)
        assert curve.area_cm2 == pytest.approx(true, rel=0.04)
        assert np.mean((curve.low_cm2 < true) & (true < curve.high_cm2)) > 0.8


def test_too_few_days_give_no_curve():
    area = np.full(60, np.nan)
    area[:5] = 3.0
    assert growth_curve(DAYS, area, 0.1 * np.ones(60)) is None


@pytest.mark.parametrize(
    ("days", "error", "message"),
    [
        ([0, 2, 1, 3, 4, 5, 6], 0.1, "must be whole and rise"),
        ([0, 1, 2, 3, 4, 5.5, 6], 0.1, "must be whole and rise"),
        (range(7), 0.0, "standard error above zero"),
        (range(6), 0.1, "differ"),
    ],
)
def test_what_cannot_be_a_series_is_refused_with_the_next_step(days, error, message):
    with pytest.raises(ValueError, match=message):
        growth_curve(list(days), np.full(7, 3.0), np.full(7, error))


def test_seventy_two_days_take_less_than_a_twentieth_of_a_second():
    """Processor time, the best of ten, so that a busy machine does not decide."""
    plant = simulated(np.random.default_rng(3))
    times = []
    for _ in range(10):
        began = time.process_time()
        growth_curve(plant.days, plant.area_cm2, plant.error_cm2)
        times.append(time.process_time() - began)
    assert min(times) < 0.05
