"""Areas on the bench come out right from a tilted camera, whatever the scale was taken from."""

import cv2
import numpy as np
import pytest

from lapsekit.errors import PictureError
from lapsekit.vision.homographies import homography, project
from lapsekit.vision.markers import find_tags
from lapsekit.vision.plane import (
    BenchPlane,
    canopy_height_factor,
    plane_from_length,
    plane_from_rectangle,
    plane_from_scale,
    plane_from_tags,
)
from tests.vision.benches import camera, developed, pictured, printed_tag

SHAPE = (480, 640)
RECTANGLE = np.array([[-30, -20], [25, -20], [25, 22], [-30, 22.0]])
TILTS = [0, 5, 15]


def disc_mask(to_picture, centre, radius_cm):
    """Pixels whose centres lie on a disc on the bench."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    on_bench = project(np.linalg.inv(to_picture), np.stack([x, y], -1).astype(float))
    return np.hypot(*(on_bench - centre).transpose(2, 0, 1)) <= radius_cm


def assert_areas_hold(plane, to_picture, within=0.01):
    weights = plane.weights_cm2(SHAPE)
    for centre in ((0, 0), (-30, -20), (28, 18), (25, -20)):
        mask = disc_mask(to_picture, centre, 9)
        assert weights[mask].sum() == pytest.approx(np.pi * 9**2, rel=within), centre


@pytest.mark.parametrize("tilt", TILTS)
@pytest.mark.parametrize("way", [0, 40, 90, 200])
def test_a_rectangle_gives_areas_within_one_per_cent(tilt, way):
    view = camera(tilt, way)
    plane = plane_from_rectangle(project(view, RECTANGLE), (55, 42))
    assert_areas_hold(plane, view, within=0.002 if tilt == 0 else 0.01)


@pytest.mark.parametrize("tilt", TILTS)
@pytest.mark.parametrize("way", [40, 200])
def test_one_tag_seen_by_a_camera_gives_areas_within_one_per_cent(tilt, way):
    view = camera(tilt, way)
    (tag,) = find_tags(developed(tags_light(view, [(-12, -5)], side=20)), "4X4_50")
    assert_areas_hold(plane_from_tags([tag], 20, SHAPE), view)


@pytest.mark.parametrize("tilt", TILTS)
def test_several_small_tags_anywhere_give_areas_within_one_per_cent(tilt):
    view = camera(tilt)
    light = tags_light(view, [(-30, -18), (24, -20), (28, 16), (-28, 18)], side=10)
    tags = find_tags(developed(light), "4X4_50")
    assert len(tags) == 4
    assert_areas_hold(plane_from_tags(tags, 10, SHAPE), view)


def tags_light(view, centres, side):
    """Linear light of a bench with tags 0, 1, … of that side, each turned differently."""
    light = np.full(SHAPE, 0.3, np.float32)
    for number, centre in enumerate(centres):
        paper, corners = printed_tag(number)
        c, s = np.cos(0.3 * number), np.sin(0.3 * number)
        square = side / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]]) @ [[c, s], [-s, c]]
        onto = homography(corners, project(view, square + centre))
        seen = pictured(paper, onto, SHAPE, around=-9)
        light = np.where(seen < -0.01, light, 0.02 + 0.6 * np.clip(seen, 0, 1))
    return light


def test_a_bench_seen_from_straight_above_needs_a_scale_or_a_length_only():
    view = camera(0, px_per_cm=7)
    assert_areas_hold(plane_from_scale(7), view)
    assert_areas_hold(plane_from_length(project(view, np.array([[0, 0], [30, 40.0]])), 50), view)


def test_a_scale_alone_would_be_wrong_under_a_tilt():
    with pytest.raises(AssertionError):
        assert_areas_hold(plane_from_scale(7), camera(15))


def test_a_moved_camera_sees_the_same_areas():
    view = camera(8)
    plane = plane_from_rectangle(project(view, RECTANGLE), (55, 42))
    nudge = np.array([[1.01, 0.03, 9], [-0.03, 1.0, -12], [2e-5, -1e-5, 1]])
    assert_areas_hold(plane.seen_through(nudge), nudge @ view)


def test_the_middle_scale_of_a_plane_is_that_of_its_pixels():
    assert plane_from_scale(7.0588).px_per_cm(SHAPE) == pytest.approx(7.0588)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: plane_from_scale(0), "px_per_cm is 0"),
        (lambda: plane_from_length([[1, 1], [1, 1]], 5), "gives no scale"),
        (lambda: plane_from_rectangle([[0, 0], [9, 9], [9, 0], [0, 9]], (5, 5)), "not in order"),
        (lambda: plane_from_rectangle([[0, 0], [9, 0], [9, 9], [0, 9]], (5, 0)), "above 0"),
        (lambda: plane_from_tags([], 14, SHAPE), "0 tags"),
        (lambda: canopy_height_factor(150, 150), "cannot lie under"),
        (
            lambda: BenchPlane(np.array([[1, 0, 0], [0, 1, 0], [-0.01, 0, 1]])).weights_cm2(SHAPE),
            "horizon",
        ),
    ],
)
def test_what_gives_no_scale_is_refused_with_its_numbers(wrong, says):
    with pytest.raises(PictureError, match=says):
        wrong()


def test_a_canopy_near_the_camera_reads_too_large_by_the_published_factor():
    assert canopy_height_factor(150, 10) == pytest.approx(1.148, abs=1e-3)
    assert canopy_height_factor(150, 30) == pytest.approx(1.5625)
    assert canopy_height_factor(150, 0) == 1


@pytest.mark.photographs
@pytest.mark.parametrize("name", ["IMG_0455.JPG", "IMG_0461.JPG", "IMG_0462.JPG"])
def test_a_few_markers_of_a_real_sheet_predict_the_others(photographs, name):
    luma = cv2.imread(str(photographs / "marker-photos" / name), cv2.IMREAD_GRAYSCALE)
    tags = find_tags(luma, "6X6_250")
    middles = np.array([tag.corners_px.mean(0) for tag in tags])
    known = {int(np.argmin(middles @ way)) for way in ((1, 1), (-1, 1), (-1, -1), (1, -1))}
    plane = plane_from_tags([tags[k] for k in known], 2.55, luma.shape)
    others = [plane.points_cm(t.corners_px) for k, t in enumerate(tags) if k not in known]
    assert len(others) >= 10
    sides = np.array([np.linalg.norm(o - np.roll(o, 1, 0), axis=1).mean() for o in others])
    assert np.mean(sides) == pytest.approx(2.55, rel=0.01)
    assert np.median(np.abs(sides / 2.55 - 1)) < 0.01
    # Markers of the sheet lie two sides apart.
    places = np.array([o.mean(0) for o in others])
    apart = np.linalg.norm(places[:, None] - places, axis=-1)
    pitches = apart[(apart > 0) & (apart < 1.2 * 5.1)] / 5.1
    assert np.mean(pitches) == pytest.approx(1, rel=0.01)
    assert np.median(np.abs(pitches - 1)) < 0.01
