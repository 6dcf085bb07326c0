"""Pauses of plants whose every day is known."""

import numpy as np
import pytest

from lapsekit.growth.pauses import find_pauses, turns_of
from tests.growth.plants import correlated, simulated

DAYS = np.arange(60)


def measured(true, noise=0.02, seed=1):
    errors = noise * correlated(np.random.default_rng(seed), len(true), 0.4)
    return true * np.exp(errors), noise * true


def paused(start=30, length=8, rgr=0.08):
    return 3 * np.exp(rgr * (DAYS - np.clip(DAYS - start, 0, length)))


def steady(rgr=0.08):
    return 3 * np.exp(rgr * DAYS)


def test_a_pause_is_found_with_its_dates_and_what_it_cost():
    (pause,) = find_pauses(DAYS, *measured(paused()))
    assert pause.start == pytest.approx(30, abs=1)
    assert pause.end == pytest.approx(38, abs=1)
    assert pause.start_low <= 30 <= pause.start_high
    assert pause.end_low <= 38 <= pause.end_high
    assert pause.length_low <= 8 <= pause.length_high
    assert pause.lost_rgr_per_day == pytest.approx(0.08, abs=0.02)
    assert pause.rate_left_low < 0 < pause.rate_left_high


def test_two_pauses_are_found_in_order():
    true = 3 * np.exp(0.1 * (DAYS - np.clip(DAYS - 12, 0, 6) - np.clip(DAYS - 38, 0, 8)))
    found = find_pauses(DAYS, *measured(true))
    assert [p.start for p in found] == pytest.approx([12, 38], abs=1.5)
    assert len(turns_of(found)) == 4


def test_a_noisier_plant_has_wider_intervals():
    widths = []
    for noise in (0.01, 0.05):
        spans = []
        for seed in range(6):
            found = find_pauses(DAYS, *measured(paused(length=10), noise, seed))
            spans += [p.start_high - p.start_low for p in found]
        widths.append(np.mean(spans))
    assert widths[1] > 1.5 * widths[0]


def test_growth_that_only_slows_is_no_pause():
    """A week at 70 % of the rate is dull weather."""
    true = 3 * np.exp(0.08 * (DAYS - 0.3 * np.clip(DAYS - 30, 0, 7)))
    assert find_pauses(DAYS, *measured(true, 0.01)) == []


def test_growth_that_ends_for_good_is_no_pause():
    assert find_pauses(DAYS, *measured(3 * np.exp(0.08 * np.minimum(DAYS, 45)))) == []


def test_a_plant_that_nears_its_full_size_does_not_pause():
    for seed in range(5):
        true = 300 / (1 + 99 * np.exp(-0.12 * DAYS))
        assert find_pauses(DAYS, *measured(true, 0.02, seed)) == []


@pytest.mark.parametrize("share", [0.5, 0.8, 1.3])
def test_a_cut_or_a_jump_up_is_no_pause(share):
    true = steady() * np.where(DAYS >= 30, share, 1)
    assert find_pauses(DAYS, *measured(true)) == []


def test_a_knock_that_takes_days_of_growth_away_is_no_pause():
    """From day 30 on the area reads 25 % too small: unflagged, one jump; flagged, allowed for."""
    area, error = measured(steady() * np.where(DAYS >= 30, 0.75, 1))
    assert find_pauses(DAYS, area, error) == []
    assert find_pauses(DAYS, area, error, doubtful=DAYS == 30) == []


def test_days_of_an_obstruction_are_never_called_a_pause():
    """For 8 days something covers the growing edge: flagged they make no pause."""
    area, error = measured(paused())
    area[38:] = measured(steady())[0][38:]
    doubtful = (DAYS >= 30) & (DAYS < 38)
    assert find_pauses(DAYS, area, error, doubtful) == []


def test_growth_missing_within_crowded_days_is_not_taken_for_a_pause():
    """The same days as a true pause, but the region was crowded: nothing is claimed."""
    area, error = measured(paused())
    assert len(find_pauses(DAYS, area, error)) == 1
    assert find_pauses(DAYS, area, error, (DAYS >= 29) & (DAYS <= 39)) == []


def test_no_pause_begins_or_ends_on_a_doubtful_day():
    for seed in range(5):
        area, error = measured(paused(length=12), seed=seed)
        doubtful = np.isin(DAYS, [30, 35, 42])
        for pause in find_pauses(DAYS, area, error, doubtful):
            ends = {np.floor(pause.start), np.ceil(pause.start), np.floor(pause.end)}
            assert not (ends | {np.ceil(pause.end)}) & {30, 35, 42}


def test_a_knock_within_a_long_pause_does_not_hide_it():
    area, error = measured(paused(length=14))
    (pause,) = find_pauses(DAYS, area, error, DAYS == 36)
    assert pause.start == pytest.approx(30, abs=1)
    assert pause.end == pytest.approx(44, abs=1)


def test_a_single_bad_day_is_no_pause_and_does_not_hide_one():
    area, error = measured(paused())
    area[33] *= 0.5
    area[15] *= 1.6
    (pause,) = find_pauses(DAYS, area, error)
    assert (pause.start, pause.end) == pytest.approx((30, 38), abs=1.5)


def test_a_short_series_claims_nothing():
    assert find_pauses(DAYS[:10], *measured(paused(4, 3)[:10])) == []


def test_missing_days_within_a_pause_do_not_hide_it():
    random = np.random.default_rng(4)
    found = 0
    for _ in range(10):
        plant = simulated(random, 0.02, rgr=0.08, pause=(30, 40), kind="expolinear")
        found += any(p.start < 38 and p.end > 32 for p in find_pauses(*_of(plant)))
    assert found >= 9


def _of(plant):
    return plant.days, plant.area_cm2, plant.error_cm2
