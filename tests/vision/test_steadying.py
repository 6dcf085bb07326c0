"""Placements between knocks are freed of jitter, and of nothing that the camera really did."""

import numpy as np
import pytest

from lapsekit.vision.homographies import corners_of, homography, project
from lapsekit.vision.knocks import knocks
from lapsekit.vision.steadying import steadied

SHAPE = (720, 960)
CORNERS = corners_of(SHAPE)
HOURS = np.array([8.5, 11, 12, 13.5, 16]) / 24


def times(days, hours=HOURS):
    return (np.arange(days)[:, None] + hours).ravel()


def placed(off):
    """Placements that move the corners by (n, 2), all alike, or by (n, 4, 2)."""
    off = np.asarray(off, float)
    off = off if off.ndim == 3 else np.repeat(off[:, None], 4, 1)
    return [homography(CORNERS, CORNERS + one) for one in off]


def jitter(n, size=0.1, seed=0):
    return np.random.default_rng(seed).normal(0, size, (n, 4, 2))


def ran(placements, at, **given):
    errors = given.get("error_px", [0.15] * len(at))
    return steadied(placements, errors, at, knocks(placements, SHAPE), SHAPE)


def corners_off(placements):
    return np.array([project(matrix, CORNERS) - CORNERS for matrix in placements])


def rms(values):
    return float(np.sqrt((values**2).sum(-1).mean()))


def way(at, sag=0.04, warming=0.2):
    """A mount that sags to below and warms up to the right."""
    return np.stack([warming * np.sin(2 * np.pi * (at % 1 - 0.3)), sag * at], -1)


@pytest.mark.parametrize("seed", range(3))
def test_jitter_goes_while_sag_and_warming_are_followed(seed):
    at = times(40)
    true = placed(way(at))
    measured = placed(corners_off(true) + jitter(len(at), seed=seed))
    before = rms(corners_off(measured) - corners_off(true))
    after = rms(corners_off(ran(measured, at)) - corners_off(true))
    assert after < 0.45 * before


def test_a_knock_stays_as_sharp_as_it_was():
    at = times(30)
    moved = np.where(at >= 14.5, 1.0, 0.0)[:, None] * [12.0, -7.0]
    measured = placed(corners_off(placed(moved)) + jitter(len(at)))
    off = corners_off(ran(measured, at)) - moved[:, None]
    assert np.abs(off).max() < 0.25


def test_a_frame_that_stood_elsewhere_keeps_its_own_placement_and_pulls_no_other():
    at = times(20)
    off = jitter(len(at), 0.05)
    off[50] += [15.0, 4.0]
    found = corners_off(ran(placed(off), at))
    assert found[50] == pytest.approx(off[50], abs=0.03)
    assert np.abs(np.delete(found, 50, 0)).max() < 0.15


def test_a_camera_that_sways_in_the_wind_is_believed_to_sway():
    at = times(20)
    true = np.random.default_rng(3).normal(0, 1.2, (len(at), 1, 2)).repeat(4, 1)
    found = corners_off(ran(placed(true + jitter(len(at), 0.07)), at, error_px=[0.15] * len(at)))
    assert rms(found - true) < 0.2
    assert rms(true) > 1.5


def test_frames_without_a_placement_stay_without():
    at = times(10)
    measured = placed(jitter(len(at)))
    measured[7] = measured[8] = None
    found = ran(measured, at)
    assert [k for k, matrix in enumerate(found) if matrix is None] == [7, 8]


def test_a_frame_rests_on_no_frame_more_than_a_week_away():
    at = times(40)
    measured = placed(corners_off(placed(way(at))) + jitter(len(at)))
    whole = ran(measured, at)
    part = steadied(measured[:120], [0.15] * 120, at[:120], (), SHAPE)
    same = [np.array_equal(a, b) for a, b in zip(part, whole, strict=False)]
    settled = at[:120] < at[119] - 7
    assert all(np.array(same)[settled])
    assert not all(same)


def test_a_new_day_leaves_most_of_the_frames_before_it_as_they_were():
    at = times(40)
    measured = placed(corners_off(placed(way(at))) + jitter(len(at), 0.06))
    runs = [steadied(measured[:n], [0.15] * n, at[:n], (), SHAPE) for n in (150, 155)]
    changed = [k for k in range(150) if not np.array_equal(runs[0][k], runs[1][k])]
    assert len(changed) <= 5 * 7


def test_a_poorly_known_frame_weighs_less_than_a_well_known_one():
    at = times(12)
    off = jitter(len(at), 0.01)
    off[::5] += [0.6, 0.0]
    errors = [0.05] * len(at)
    errors[::5] = [0.6] * len(errors[::5])
    others = np.delete(corners_off(ran(placed(off), at, error_px=errors)), slice(None, None, 5), 0)
    assert np.abs(others).max() < 0.06


@pytest.mark.parametrize("n", [0, 1, 2])
def test_few_frames_are_left_where_they_are(n):
    at = times(1)[:n]
    measured = placed(np.full((n, 2), 3.3))
    assert corners_off(ran(measured, at) or placed([])).reshape(-1) == pytest.approx(3.3, abs=0.03)
