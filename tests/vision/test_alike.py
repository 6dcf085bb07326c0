"""Frames are chosen that are lit alike, and near the hour that was wished for."""

import numpy as np
import pytest

from lapsekit.vision.alike import AHEAD_DAYS, alike, differences

CELLS = 96
BENCH = np.random.default_rng(1).uniform(-3, -1, (CELLS, 3))
SHADOWS = np.random.default_rng(2).choice([0.0, -1.0], CELLS)[:, None]


def levels_of(sunny, exposure=0.0):
    levels = BENCH + SHADOWS * sunny + exposure
    return np.column_stack([levels, np.ones(CELLS)])


def season(suns, hours=(9.0, 12.0, 15.0)):
    """Levels, days and hours of days that are sunny (1) or overcast (0) at each of the hours."""
    levels = np.array([levels_of(sun) for day in suns for sun in day])
    return levels, np.repeat(np.arange(len(suns)), len(hours)), np.tile(hours, len(suns))


def test_exposure_makes_no_difference_and_shadows_do():
    frames = np.array([levels_of(0), levels_of(0, 0.7), levels_of(1)])
    found = differences(frames, frames)
    assert found[0, 1] == pytest.approx(0, abs=1e-9)
    assert found[0, 2] > 0.3
    assert found == pytest.approx(found.T)


def test_a_tint_makes_a_difference():
    tinted = levels_of(0)
    tinted[:, 0] += 0.2
    assert 0.02 < differences(levels_of(0)[None], tinted[None])[0, 0] < 0.15


def test_without_a_reason_the_wished_hour_is_taken():
    assert alike(*season([[0, 0, 0]] * 10), wished_hour=12) == [1 + 3 * d for d in range(10)]


def test_a_frame_of_another_hour_is_taken_where_it_is_lit_like_the_days_beside():
    suns = [[0, 0, 0]] * 4 + [[0, 1, 1]] + [[0, 0, 0]] * 4
    chosen = alike(*season(suns), wished_hour=12)
    assert chosen[4] == 3 * 4  # the overcast morning
    assert [k % 3 for k in chosen] == [1, 1, 1, 1, 0, 1, 1, 1, 1]


def test_a_day_that_can_only_be_sunny_is_not_left_out():
    suns = [[0, 0, 0]] * 3 + [[1, 1, 1]] + [[0, 0, 0]] * 3
    assert alike(*season(suns), wished_hour=12)[3] == 3 * 3 + 1


def test_the_chain_looks_ahead():
    # Overcast at noon, sunny before; from the next day on there is only sun
    suns = [[1, 1, 1]] + [[1, 0, 0]] + [[1, 1, 1]] * 6
    assert alike(*season(suns), wished_hour=12)[1] == 3


def test_old_choices_stay_when_the_season_grows():
    rng = np.random.default_rng(3)
    suns = rng.integers(0, 2, (40, 3))
    whole = alike(*season(suns), wished_hour=12)
    part = alike(*season(suns[:25]), wished_hour=12)
    assert part[: 25 - AHEAD_DAYS] == whole[: 25 - AHEAD_DAYS]


def test_frames_of_which_nothing_is_told_are_taken_where_there_is_no_other():
    levels, days, hours = season([[0, 0, 0]] * 3)
    levels[3:6] = np.nan
    assert alike(levels, days, hours, wished_hour=12) == [1, 4, 7]


def test_midnight_is_near_to_an_hour_before_it():
    levels, days, hours = season([[0, 0]] * 3, hours=(6.0, 23.0))
    assert alike(levels, days, hours, wished_hour=0.5) == [1, 3, 5]
