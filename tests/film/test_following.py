"""A window that follows a plant holds it, near and calm, within what frames show."""

import numpy as np
import pytest

from lapsekit.film.following import REACH_DAYS, box_of_mask, followed

SIZE = (1080, 1080)
ALL = [(0.0, (-0.5, -0.5, 959.5, 719.5))]
BEATS = np.arange(0, 40, 1 / 12)


def plant(at, x=480, y=360, grown=lambda t: 60 + 2 * t):
    """Boxes of a plant that grows about a place."""
    half = grown(np.asarray(at, float))
    return np.stack([x - half, y - half, x + half, y + half], -1)


def frames(days=40, hours=(8.5, 12, 16)):
    return (np.arange(days)[:, None] + np.array(hours) / 24).ravel()


def edges(windows):
    return np.array([window.box for window in windows])


def holds(windows, moments, boxes, times):
    """Whether each box lies within the windows of its moment."""
    found = edges(windows)
    near = np.abs(np.asarray(times)[:, None] - moments).argmin(1)
    low = (found[near, :2] <= np.asarray(boxes)[:, :2] + 0.02).all()
    return low and (found[near, 2:] >= np.asarray(boxes)[:, 2:] - 0.02).all()


def test_a_growing_plant_is_held_with_room_and_the_window_only_widens():
    at = frames()
    windows = followed(plant(at), at, BEATS, SIZE, ALL, most_enlarged=100)
    width = np.diff(edges(windows)[:, ::2], axis=1)[:, 0]
    assert holds(windows, BEATS, plant(at), at)
    assert (np.diff(width) >= -1e-9).all()
    assert width[240] == pytest.approx(1.24 * 2 * (60 + 2 * (20 + REACH_DAYS)), rel=0.05)


def test_leaves_that_droop_every_noon_do_not_make_the_window_pump():
    at = frames()
    drooping = plant(at, grown=lambda t: np.where(np.abs(t % 1 - 0.5) < 0.1, 60, 80))
    windows = edges(followed(drooping, at, BEATS, SIZE, ALL))
    assert np.ptp(windows, axis=0).max() < 0.05


def test_a_moved_pot_is_followed_without_a_corner_and_never_lost():
    at = frames()
    boxes = np.where((at < 20)[:, None], plant(at, x=300), plant(at, x=650))
    windows = followed(boxes, at, BEATS, SIZE, ALL)
    assert holds(windows, BEATS, boxes, at)
    way = edges(windows)
    assert np.abs(np.diff(way, axis=0)).max() < 12
    assert np.abs(np.diff(way, n=2, axis=0)).max() < 1


def test_a_cut_crop_is_come_near_to_again():
    at = frames()
    boxes = plant(at, grown=lambda t: np.where(t < 20, 160, 70))
    windows = followed(boxes, at, BEATS, SIZE, ALL)
    width = np.diff(edges(windows)[:, ::2], axis=1)[:, 0]
    assert holds(windows, BEATS, boxes, at)
    assert width[-1] == pytest.approx(max(140 * 1.24, 1080 / 2.5), rel=0.01)
    assert (np.diff(width) <= 1e-9).all()


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1080), (1080, 1920), (640, 720)])
def test_at_the_edge_of_the_bench_it_stays_within_what_frames_show(size):
    at, covered = frames(), (6.0, 4.0, 950.0, 700.0)
    windows = followed(plant(at, x=40, y=660), at, BEATS, size, [(0.0, covered)])
    found = edges(windows)
    assert (found[:, :2] >= np.array(covered[:2]) - 0.01).all()
    assert (found[:, 2:] <= np.array(covered[2:]) + 0.01).all()
    shapes = (found[:, 2] - found[:, 0]) / (found[:, 3] - found[:, 1])
    assert shapes == pytest.approx(size[0] / size[1], rel=1e-3)


def test_nothing_is_enlarged_more_than_asked():
    at = frames()
    tiny = plant(at, grown=lambda t: 5 + 0 * t)
    windows = followed(tiny, at, BEATS, SIZE, ALL, most_enlarged=3)
    assert max(window.enlarged for window in windows) <= 3.001


def test_a_change_of_view_is_kept_within_before_during_and_after():
    at = frames()
    before, after = (0, 0, 900, 720), (60, 0, 960, 720)
    windows = followed(plant(at, x=60), at, BEATS, SIZE, [(0.0, before), (20.0, after)])
    found = edges(windows)
    assert found[BEATS < 12, 0].max() < 55
    assert found[BEATS >= 20, 0].min() >= 60 - 0.01
    assert np.abs(np.diff(found, n=2, axis=0)).max() < 1


def test_new_days_change_no_window_older_than_a_week():
    at = frames()
    boxes = plant(at)
    early = at < 30
    part = followed(boxes[early], at[early], BEATS[BEATS < 30], SIZE, ALL)
    whole = followed(boxes, at, BEATS, SIZE, ALL)
    settled = int((BEATS < 30 - 2 * REACH_DAYS - 0.5).sum())
    assert part[:settled] == whole[:settled]


def test_over_a_gap_the_window_waits_where_it_was():
    at = np.concatenate([frames(10), frames(10) + 25])
    boxes = np.where((at < 20)[:, None], plant(at, x=300), plant(at, x=650))
    windows = edges(followed(boxes, at, BEATS, SIZE, ALL))
    waiting = windows[(BEATS > 14) & (BEATS < 17)]
    assert np.ptp(waiting, axis=0).max() < 0.05
    assert holds(followed(boxes, at, BEATS, SIZE, ALL), BEATS, boxes, at)


def test_the_box_of_a_mask_leaves_specks_out():
    mask = np.zeros((180, 240), bool)
    mask[40:100, 60:160] = True
    mask[3, 230] = True
    left, top, right, bottom = box_of_mask(mask, by=4)
    assert (left, top) == pytest.approx((239.5, 159.5))
    assert (right, bottom) == pytest.approx((639.5, 399.5))
    assert box_of_mask(np.zeros((5, 5), bool)) is None
