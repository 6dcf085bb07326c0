"""Frames are put in their place by what does not grow, under other light and other plants."""

import cv2
import numpy as np
import pytest

from lapsekit.vision.homographies import homography
from lapsekit.vision.markers import find_tags
from lapsekit.vision.registration import NotRegistered, Reference, register
from tests.vision.benches import (
    bench,
    developed,
    moved,
    movement,
    pictured,
    printed_tag,
    sunlit,
    worst_px,
)

SHAPE = (480, 640)
BENCH = bench(SHAPE)
MORNING = [[0, 0], [230, 0], [120, 300], [0, 320]]
EVENING = [[640, 90], [400, 60], [330, 420], [640, 480]]
VIEW = Reference(developed(sunlit(BENCH, MORNING), noise=1.5))


def frame(matrix, shadow=EVENING, light=BENCH, **how):
    how = {"noise": 1.5, "seed": 1, **how}
    return developed(moved(sunlit(light, shadow), matrix), **how)


def grown(light, seed=5, leaves=150):
    """The bench with leaves over about half of it."""
    rng = np.random.default_rng(seed)
    light = light.copy()
    canopy = np.zeros(light.shape, np.uint8)
    for _ in range(leaves):
        at = tuple(int(v) for v in rng.uniform([0, 0], light.shape[::-1]))
        axes = tuple(int(v) for v in rng.uniform(12, 40, 2))
        ellipse = (at, axes, rng.uniform(0, 180), 0, 360)
        cv2.ellipse(light, *ellipse, float(rng.uniform(0.05, 0.25)), -1)
        cv2.ellipse(canopy, *ellipse, 1, -1)
    return light, canopy > 0


@pytest.mark.parametrize(
    ("shift", "turn", "zoom"),
    [((0.3, -0.2), 0, 1), ((5, 3), 0.4, 1.003), ((-21, 33), -1.5, 0.985), ((52, 30), 3, 1.02),
     ((-60, 0), -3, 0.98), ((0, 61), 0, 1)],
)  # fmt: skip
def test_known_movements_are_found_under_shadows_that_moved(shift, turn, zoom):
    true = movement(SHAPE, shift, turn, zoom)
    found = register(frame(true), VIEW)
    assert worst_px(found.matrix, true, SHAPE) < 0.15
    assert found.numbers == 4


def test_a_frame_that_did_not_move_is_not_moved():
    found = register(frame(np.eye(3)), VIEW)
    assert worst_px(found.matrix, np.eye(3), SHAPE) < 0.05
    assert (found.method, found.numbers) == ("near", 4)


def test_the_perspective_of_a_turned_camera_is_found_where_there_is_one():
    true = movement(SHAPE, (8, -5), 0.5)
    true[2, :2] = 2e-5, -1e-5
    found = register(frame(true), VIEW)
    assert found.numbers in (6, 8)
    assert worst_px(found.matrix, true, SHAPE) < 0.2


@pytest.mark.parametrize("masked", [True, False])
def test_plants_over_half_the_view_do_not_pull_it(masked):
    light, canopy = grown(BENCH)
    assert canopy.mean() > 0.35
    true = movement(SHAPE, (3.4, -2.6), 0.5)
    free = cv2.warpPerspective(1 - canopy.astype(np.uint8), true, SHAPE[::-1]) > 0
    found = register(frame(true, light=light), VIEW, usable=free if masked else None)
    assert worst_px(found.matrix, true, SHAPE) < 0.2


def test_leaves_that_all_moved_together_are_outvoted():
    # Two fifths of the picture slide by three pixels; the rest stands still.
    slid = BENCH.copy()
    slid[:, 384:] = moved(BENCH, movement(SHAPE, (3, 2)))[:, 384:]
    found = register(frame(np.eye(3), light=slid), VIEW)
    assert worst_px(found.matrix, np.eye(3), SHAPE) < 0.15


def test_the_guess_changes_the_way_but_not_the_result():
    true = movement(SHAPE, (14, -8), 0.9)
    picture = frame(true)
    alone = register(picture, VIEW)
    near = register(picture, VIEW, guess=movement(SHAPE, (14.6, -8.5), 0.85))
    wrong = register(picture, VIEW, guess=movement(SHAPE, (-30, 9), -2))
    assert near.method == "near"
    assert worst_px(near.matrix, alone.matrix, SHAPE) < 0.02
    assert worst_px(wrong.matrix, alone.matrix, SHAPE) < 0.02


def test_boards_do_not_pass_for_matched_when_they_slid_along_their_grain():
    # Long straight grain and no ends: only the knots tell how far a board slid.
    for slide in (6, 12, 25, 40):
        true = movement(SHAPE, (slide, 0))
        found = register(frame(true), VIEW, guess=np.eye(3))
        assert worst_px(found.matrix, true, SHAPE) < 0.15, slide


def test_another_place_is_refused_in_plain_words():
    found = register(developed(sunlit(bench(SHAPE, seed=9, boards=False))), VIEW)
    assert isinstance(found, NotRegistered)
    assert found.reason.endswith("of the surroundings could be matched")


@pytest.mark.parametrize("spoilt", [lambda p: p * 0, lambda p: cv2.GaussianBlur(p, (0, 0), 12)])
def test_a_frame_that_shows_nothing_is_refused(spoilt):
    assert isinstance(register(spoilt(frame(np.eye(3))), VIEW), NotRegistered)


def test_a_picture_of_another_size_is_refused_with_both_sizes():
    found = register(np.zeros((100, 200), np.uint8), VIEW)
    assert "200 x 100 px" in found.reason
    assert "640 x 480" in found.reason


def test_a_reference_view_without_anything_that_stays_is_refused():
    nothing = Reference(frame(np.eye(3)), usable=np.zeros(SHAPE, bool))
    assert "too little" in register(frame(np.eye(3)), nothing).reason


def with_tag(at):
    paper, corners = printed_tag()
    square = np.array([[0, 0], [60, 0], [60, 60], [0, 60.0]]) + at
    seen = pictured(paper, homography(corners, square), SHAPE, around=-9)
    return np.where(seen < -0.01, BENCH, 0.02 + 0.6 * np.clip(seen, 0, 1)).astype(np.float32)


def test_a_tag_gives_the_start_and_tells_when_it_was_moved_itself():
    first = developed(sunlit(with_tag((200, 400)), MORNING))
    view = Reference(first, tags=find_tags(first, "4X4_50"))
    true = movement(SHAPE, (55, -40), 3, 0.98)
    second = frame(true, light=with_tag((200, 400)))
    found = register(second, view, tags=find_tags(second, "4X4_50"))
    assert found.method == "tag"
    assert worst_px(found.matrix, true, SHAPE) < 0.15
    assert found.tag_off_px < 0.2
    shifted = frame(np.eye(3), light=with_tag((212, 400)))
    found = register(shifted, view, tags=find_tags(shifted, "4X4_50"))
    assert worst_px(found.matrix, np.eye(3), SHAPE) < 0.15
    assert found.tag_off_px == pytest.approx(12, abs=0.3)


def test_views_are_chained_across_a_change_of_everything_but_the_view_between():
    half = BENCH.copy()
    half[:, 320:] = bench(SHAPE, seed=7)[:, 320:]
    last = half.copy()
    last[:, :320] = bench(SHAPE, seed=8)[:, :320]
    first, second = movement(SHAPE, (4, 2), 0.3), movement(SHAPE, (9, -3), -0.4)
    between = frame(first, light=half)
    link = register(between, VIEW)
    chained = register(frame(second, light=last), Reference(between, from_season=link))
    assert worst_px(chained.matrix, second, SHAPE) < 0.3
    assert chained.error_px > link.error_px
    assert isinstance(register(frame(second, light=last), VIEW), NotRegistered)


def test_the_stated_error_grows_as_less_can_be_matched():
    narrow = np.zeros(SHAPE, bool)
    narrow[:, :330] = True
    some = register(frame(np.eye(3)), Reference(frame(np.eye(3), MORNING, seed=3), usable=narrow))
    assert some.error_px > register(frame(np.eye(3)), VIEW).error_px
