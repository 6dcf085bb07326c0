"""Knocks are dated to the frame and measured, and nothing else passes for one."""

import numpy as np
import pytest

from lapsekit.vision.knocks import knocks
from tests.vision.benches import movement

SHAPE = (720, 960)


def season(frames=120, jitter=0.05, seed=0, events=()):
    """Registrations with jitter and warming up; events are (frame, shift, turn) that last."""
    rng = np.random.default_rng(seed)
    found = []
    for k in range(frames):
        shift = np.array([0.35 * np.sin(k / 9.7) + 0.2 * np.sin(2 * np.pi * k / 5), 0.0])
        turn = 0.0
        for at, by, turned in events:
            shift, turn = shift + np.multiply(by, k >= at), turn + turned * (k >= at)
        found.append(movement(SHAPE, shift + rng.normal(0, jitter, 2), turn))
    return found


def test_a_knock_and_its_half_way_back_are_dated_and_measured():
    series = season(events=[(40, (12.0, -7.2), 0.9), (60, (-6.0, 3.6), -0.45)])
    first, second = knocks(series, SHAPE)
    assert (first.before, first.at, second.at) == (39, 40, 60)
    assert first.size_px == pytest.approx(14, abs=0.5)
    assert first.shift_px == pytest.approx((12, -7.2), abs=0.4)
    assert (first.turn_deg, second.turn_deg) == pytest.approx((0.9, -0.45), abs=0.01)
    assert second.size_px == pytest.approx(7, abs=0.5)


@pytest.mark.parametrize("seed", range(5))
def test_jitter_and_warming_up_are_no_knock(seed):
    assert knocks(season(jitter=0.15, seed=seed), SHAPE) == ()


def test_a_slow_drift_is_no_knock():
    series = season()
    drift = [movement(SHAPE, (0.1 * k, 0)) @ matrix for k, matrix in enumerate(series)]
    assert knocks(drift, SHAPE) == ()


def test_a_single_frame_out_of_place_is_no_knock():
    series = season()
    series[50] = movement(SHAPE, (20, 5), 1) @ series[50]
    assert knocks(series, SHAPE) == ()


def test_frames_without_a_registration_leave_the_knock_between_its_neighbours():
    series = season(events=[(40, (5, 5), 0)])
    series[38] = series[39] = series[40] = None
    (knock,) = knocks(series, SHAPE)
    assert (knock.before, knock.at) == (37, 41)
    assert knock.size_px == pytest.approx(np.hypot(5, 5), abs=0.5)


def test_two_knocks_soon_after_each_other_are_two():
    series = season(events=[(40, (9, 0), 0), (42, (0, 9), 0)])
    assert [knock.at for knock in knocks(series, SHAPE)] == [40, 42]


def test_perspective_does_not_pass_for_shift_or_turn():
    tilt = np.eye(3)
    tilt[2, :2] = 9e-6, -4e-6
    middle = np.array([[1, 0, 479.5], [0, 1, 359.5], [0, 0, 1]])
    tilted = movement(SHAPE, (10, -4), 0.5) @ middle @ tilt @ np.linalg.inv(middle)
    (knock,) = knocks([np.eye(3)] * 9 + [tilted] * 9, SHAPE)
    assert knock.shift_px == pytest.approx((10, -4), abs=0.01)
    assert knock.turn_deg == pytest.approx(0.5, abs=0.01)


def test_a_change_in_the_last_frame_waits_for_the_next():
    series = season(frames=41, events=[(40, (12, 0), 0)])
    assert knocks(series, SHAPE) == ()
    assert knocks([], SHAPE) == ()
