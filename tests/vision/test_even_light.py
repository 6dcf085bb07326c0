"""Known flicker goes, what is slow stays: on levels and on pictures whose light we laid on."""

import numpy as np
import pytest

from lapsekit.vision.colour import LINEAR
from lapsekit.vision.even_light import MOST_GAIN, corrections
from lapsekit.vision.flicker import flicker_index
from lapsekit.vision.light_cells import LightCells
from lapsekit.vision.slow_light import REACH_DAYS, slow
from lapsekit.vision.toning import Correction, encoded, field_terms

CELLS = LightCells((144, 192), columns=16)
BENCH = np.random.default_rng(7).uniform(0.08, 0.35, (CELLS.count, 3))
NOON = np.full(60, 12.0)
DAYS = np.arange(60) + 0.5


def levels_of(log_light):
    """Levels of the bench under light of shape (n,), (n, 3) or (n, cells, 3), as logarithms."""
    light = np.asarray(log_light, float)
    if light.ndim < 3:
        light = light.reshape(len(light), 1, -1)
    levels = np.broadcast_to(np.log(BENCH) + light, (len(light), CELLS.count, 3))
    return np.concatenate([levels, np.ones((len(light), CELLS.count, 1))], axis=2)


def gains_of(found):
    return np.array([c.log_gains for c in found])


def shown(levels, found):
    """Mean luminance of each frame after its correction."""
    return np.array(
        [
            (np.exp(frame[:, :3] + np.array(c.log_gains)) * [0.2126, 0.7152, 0.0722]).sum()
            for frame, c in zip(levels, found, strict=True)
        ]
    )


def test_exposure_and_tint_that_flicker_are_undone_to_a_few_thousandths():
    flicker = np.random.default_rng(2).normal(0, [0.12, 0.1, 0.14], (60, 3))
    left = flicker + gains_of(corrections(CELLS, levels_of(flicker), DAYS, NOON))
    for channel in range(3):
        was = flicker_index(np.exp(flicker[:, channel]))
        assert flicker_index(np.exp(left[:, channel])) < 0.08 * was


def test_a_slow_change_over_weeks_stays_within_two_percent():
    change = 0.3 * np.sin(2 * np.pi * DAYS / 60)
    flicker = np.random.default_rng(3).normal(0, 0.05, 60)
    with_it = gains_of(corrections(CELLS, levels_of(change + flicker), DAYS, NOON))
    without = gains_of(corrections(CELLS, levels_of(flicker), DAYS, NOON))
    assert np.abs(with_it - without).max() < 0.03


def a_day(days=10, every_h=0.25):
    """Frames from morning to night; the sun sets at 19:00, red, over three quarters of an hour."""
    hours = np.tile(np.arange(7, 20.01, every_h), days)
    at = np.repeat(np.arange(days), len(hours) // days) + hours / 24
    set_by = np.clip((hours - 18.75) / 0.75, 0, 1) ** 2
    return at, hours, -set_by[:, None] * np.array([0.8, 1.5, 2.2])


@pytest.mark.parametrize("days", [1, 10])
def test_a_sunset_stays_a_sunset(days):
    at, hours, sunset = a_day(days)
    gains = gains_of(corrections(CELLS, levels_of(sunset), at, hours))
    assert np.abs(gains).max() < 0.1 * 2.2  # a tenth of its fall, where it sets in
    tint = sunset + gains
    assert (tint[:, 0] - tint[:, 2])[hours > 19.4].min() > 1.0


def test_flicker_in_a_day_with_a_sunset_goes_and_the_sunset_stays():
    at, hours, sunset = a_day()
    flicker = np.random.default_rng(4).normal(0, 0.08, len(at))
    found = corrections(CELLS, levels_of(sunset + flicker[:, None]), at, hours)
    left = gains_of(found)[:, 1] + flicker
    assert flicker_index(np.exp(left)) < 0.25 * flicker_index(np.exp(flicker))


def test_the_course_of_the_day_goes_where_that_is_wanted():
    hours = np.tile([9.0, 12.0, 16.0], 40)
    at = np.repeat(np.arange(40), 3) + hours / 24
    course = np.tile([-0.2, 0.1, -0.1], 40)
    levels = levels_of(course)
    kept, evened = (corrections(CELLS, levels, at, hours, day_course=d) for d in (True, False))
    assert np.abs(gains_of(kept)).max() < 0.005
    assert flicker_index(shown(levels, evened)) < 0.1 * flicker_index(shown(levels, kept))


def test_old_days_do_not_change_when_the_season_grows():
    flicker = np.random.default_rng(5).normal(0, 0.1, 60)
    levels = levels_of(flicker)
    early = corrections(CELLS, levels[:40], DAYS[:40], NOON[:40])
    late = corrections(CELLS, levels, DAYS, NOON)
    until = 40 - int(np.ceil(REACH_DAYS))
    assert [c.key() for c in early[:until]] == [c.key() for c in late[:until]]
    assert early[-1].key() != late[39].key()


def test_leaves_that_will_cover_the_bench_later_do_not_change_the_light_of_today():
    flicker = np.random.default_rng(5).normal(0, 0.1, 60)
    levels = levels_of(flicker)
    grown = levels.copy()
    grown[40:, :100] = np.nan
    until = 40 - int(np.ceil(REACH_DAYS))
    found = [corrections(CELLS, each, DAYS, NOON)[:until] for each in (levels, grown)]
    assert found[0] == found[1]


def test_something_put_on_the_bench_for_a_day_does_not_darken_the_picture():
    levels = levels_of(np.zeros(30))
    levels[15, :20, :3] += 1.5  # a white sheet over a tenth of the cells
    found = corrections(CELLS, levels, DAYS[:30], NOON[:30])
    assert np.abs(gains_of(found)).max() < 0.01


def test_light_that_falls_off_to_one_side_is_evened_out():
    slope = np.zeros((30, CELLS.count, 3))
    slope[15] = 0.15 * CELLS.places[:, :1]
    found = corrections(CELLS, levels_of(slope), DAYS[:30], NOON[:30])[15]
    left = slope[15, :, 0] + found.uneven_at(CELLS.places) + found.log_gains[0]
    assert left.std() < 0.45 * slope[15, :, 0].std()


def test_a_hard_shadow_leaves_the_rest_of_the_picture_even():
    shadow = np.zeros((30, CELLS.count, 3))
    shadow[15, (CELLS.places[:, 0] < -0.6) & (CELLS.places[:, 1] < 0)] = -1.0
    found = corrections(CELLS, levels_of(shadow), DAYS[:30], NOON[:30])[15]
    assert np.abs(found.uneven_at(CELLS.places)).max() < 0.06


def test_frames_that_cannot_be_told_stay_as_they_are():
    levels = levels_of(np.random.default_rng(6).normal(0, 0.1, 30))
    levels[10] = np.nan
    levels[20, 11:] = np.nan  # eleven cells alone
    found = corrections(CELLS, levels, DAYS[:30], NOON[:30])
    assert [c.changes_nothing for c in found].count(True) == 2
    assert found[10].changes_nothing
    assert found[20].changes_nothing


def test_one_or_two_frames_stay_as_they_are():
    levels = levels_of([0.0, 0.5])
    found = corrections(CELLS, levels, DAYS[:2], NOON[:2])
    assert all(c.changes_nothing for c in found)


def test_a_frame_far_too_dark_is_not_torn_up_beyond_its_noise():
    levels = levels_of([0.0] * 10 + [-2.5] + [0.0] * 10)
    found = corrections(CELLS, levels, DAYS[:21], NOON[:21])
    assert found[10].log_gains[1] == pytest.approx(MOST_GAIN, abs=0.02)
    assert np.abs(gains_of(found[:10])).max() < 0.03  # and does not pull its neighbours


def test_the_slow_part_of_a_line_is_the_line_to_its_ends():
    line = 0.01 * DAYS
    assert slow(line, DAYS) == pytest.approx(line, abs=0.006)


def bench_under(log_gains, field=(0, 0, 0, 0, 0)):
    """A picture of the bench under known light, and the same in its usual light, unrounded."""
    side = 12
    light = BENCH.reshape(CELLS.rows, CELLS.columns, 3).repeat(side, 0).repeat(side, 1)
    y, x = ((np.arange(n) + 0.5) * 2 / n - 1 for n in light.shape[:2])
    uneven = field_terms(np.stack(np.meshgrid(x, y), -1)) @ np.array(field)
    shone = light * np.exp(np.array(log_gains) + uneven[..., None])
    return np.round(encoded(shone)).astype(np.uint8), encoded(light)


@pytest.mark.parametrize("field", [(0, 0, 0, 0, 0), (0.08, -0.05, 0.03, 0.02, -0.04)])
def test_a_picture_under_known_light_comes_out_in_its_usual_light(field):
    taken, usual = bench_under((0.2, 0.1, -0.1), field)
    undo = Correction.of((-0.2, -0.1, 0.1), tuple(-f for f in field), (144, 192))
    off = undo.evened(taken).astype(float) - usual
    assert np.abs(off).max() < 4  # levels; where the shoulder begins
    assert np.abs(off.mean()) < 0.8


def test_a_picture_that_shows_a_part_is_evened_as_that_part_of_the_whole():
    taken, _ = bench_under((0, 0, 0))
    change = Correction.of((0.1, 0.1, 0.1), (0.2, 0.1, 0, 0, 0), (144, 192))
    whole = change.evened(taken)
    part = np.array([[1, 0, 60], [0, 1, 30], [0, 0, 1.0]])
    off = change.evened(taken[30:110, 60:160].copy(), part).astype(int) - whole[30:110, 60:160]
    assert np.abs(off).max() <= 1


def test_nothing_to_change_gives_the_very_same_picture():
    taken, _ = bench_under((0, 0, 0))
    assert Correction.none((144, 192)).evened(taken) is taken


@pytest.mark.parametrize("field", [(0, 0, 0, 0, 0), (0.1, 0.1, 0, 0, 0)])
@pytest.mark.parametrize("gains", [(0.4, 0.0, -0.3), (-0.4, -0.5, -0.6)])
def test_white_stays_white_and_black_black(gains, field):
    ends = np.zeros((64, 64, 3), np.uint8)
    ends[:, 32:] = 255
    evened = Correction.of(gains, field, (64, 64)).evened(ends)
    assert (evened[:, 32:] >= 254).all()
    assert (evened[:, :32] == 0).all()


@pytest.mark.parametrize("gain", [0.9, 0.3, -0.3, -0.9])
def test_what_was_brighter_stays_brighter(gain):
    levels = np.arange(256, dtype=np.uint8).reshape(1, 256, 1).repeat(3, axis=2)
    even = Correction.of((gain,) * 3, (0,) * 5, (1, 256)).evened(levels)
    assert (np.diff(even[0, :, 0].astype(int)) >= 0).all()


def test_slow_unevenness_makes_no_bands():
    flat = np.full((540, 960, 3), 170, np.uint8)
    row = Correction.of((0.2, 0.2, 0.2), (0.25, 0, 0, 0, 0), (540, 960)).evened(flat)[270, :, 1]
    steps = np.diff(row.astype(int))
    assert set(steps) <= {0, 1}
    assert steps.sum() > 25


def test_a_key_is_the_same_for_what_nobody_sees_and_another_for_what_is_seen():
    here = Correction.of((0.1, 0.1, 0.1), (0, 0, 0, 0, 0), (10, 10))
    assert Correction.of((0.1004, 0.1, 0.0996), (0, 0, 0, 0, 0), (10, 10)).key() == here.key()
    assert Correction.of((0.11, 0.1, 0.1), (0, 0, 0, 0, 0), (10, 10)).key() != here.key()
    assert Correction.of((0.1, 0.1, 0.1), (0.02, 0, 0, 0, 0), (10, 10)).key() != here.key()
    assert Correction.none((10, 10)).key() == Correction.none((20, 20)).key()


def test_linear_light_and_back_is_the_level_itself():
    assert encoded(LINEAR) == pytest.approx(np.arange(256), abs=1e-3)
