"""The film's window is as large as its frames allow, holds still, and moves without a jump."""

import numpy as np
import pytest

from lapsekit.film.covering import cover_of, depth_outside, largest_box, quad_of
from lapsekit.film.framing import framed
from lapsekit.film.warping import film_to_frame, uncovered_px
from lapsekit.film.windows import eased, on_paper
from lapsekit.vision.homographies import project
from lapsekit.vision.knocks import knocks
from tests.vision.benches import movement

SHAPE = (720, 960)
WIDE, SQUARE, UPRIGHT = (1920, 1080), (1080, 1080), (1080, 1920)


def season(*views, each=20, jitter=0.3, seed=0):
    """Placements of views, each told by shift, turn and zoom, and the knocks between them."""
    rng = np.random.default_rng(seed)
    found = [
        movement(SHAPE, np.add(shift, rng.normal(0, jitter, 2)), turn, zoom)
        for shift, turn, zoom in views
        for _ in range(each)
    ]
    return found, knocks(found, SHAPE)


def uncovered(framing, placements, number=0):
    """How deep each frame of a stretch lacks something of its window, in px of the film."""
    window = framing.stretches[number].window
    return [
        uncovered_px(film_to_frame(p, window.matrix), window.size, SHAPE)
        for k, p in enumerate(placements)
        if framing.stretch_of(k) == number
    ]


STILL = ((0, 0), 0, 1)


@pytest.mark.parametrize("size", [WIDE, SQUARE, UPRIGHT, (1440, 1080)])
def test_frames_that_never_moved_are_shown_almost_whole(size):
    window = framed([None] * 9, SHAPE, size).stretches[0].window
    left, top, right, bottom = window.box
    assert (right - left) / (bottom - top) == pytest.approx(size[0] / size[1], rel=1e-4)
    assert max((right - left) / 960, (bottom - top) / 720) == pytest.approx(0.995, abs=1e-4)


@pytest.mark.parametrize("turn", [0.0, 0.9, -3.0])
def test_the_window_is_the_largest_that_turned_frames_cover(turn):
    placements = [movement(SHAPE, (9, -4), turn)]
    cover = cover_of(placements, SHAPE)
    box = largest_box(cover, 16 / 9)
    assert depth_outside(box, cover) < 0.02
    middle, half = np.reshape(box, (2, 2)).mean(0), (box[2] - box[0]) / 2
    wider = 1.004 * half * np.array([1, 9 / 16])
    moves = np.stack(np.meshgrid(np.linspace(-8, 8, 33), np.linspace(-90, 90, 61)), -1)
    quad = quad_of(placements[0], SHAPE)
    for x, y in (middle + moves).reshape(-1, 2):
        corners = project(
            placements[0], np.array([[x + a * wider[0], y + b * wider[1]] for a in (1, -1)
                                     for b in (1, -1)])
        )  # fmt: skip
        inside = (corners >= -0.5).all() and (corners <= [959.5, 719.5]).all()
        assert not inside, (x, y, quad)


def test_a_small_lasting_change_of_view_costs_a_little_width_and_moves_nothing():
    placements, found = season(STILL, ((12, -7), 0.9, 1), ((6, -3.6), 0.45, 1))
    framing = framed(placements, SHAPE, WIDE, found)
    assert len(framing.stretches) == 1
    assert max(uncovered(framing, placements)) == 0
    assert framing.left_out == ()
    assert framing.stretches[0].window.box[2] - framing.stretches[0].window.box[0] > 930


def test_a_large_one_moves_the_window_over_a_second_without_a_jump_or_a_bare_edge():
    placements, found = season(STILL, ((150, 60), 2, 1))
    framing = framed(placements, SHAPE, WIDE, found)
    assert [stretch.first for stretch in framing.stretches] == [0, 20]
    # A day of twelve pictures each, the last three of which fade into the next
    shown = [(k, min(k + 1, 39)) if beat > 8 else (k,) for k in range(40) for beat in range(12)]
    windows = framing.windows(shown, 30)
    assert all(len(set(each)) == 1 for each in windows)
    edges = np.array([each[0].box for each in windows])
    moving = np.abs(np.diff(edges, axis=0)).max(1) > 0
    assert 15 <= moving.sum() <= 40
    assert np.abs(np.diff(edges, n=2, axis=0)).max() < 4
    bare = [
        uncovered_px(film_to_frame(placements[k], w.matrix), w.size, SHAPE)
        for frames, each in zip(shown, windows, strict=True)
        for k, w in zip(frames, each, strict=True)
    ]
    assert max(bare) == 0


def test_views_with_little_in_common_are_each_shown_in_their_own_window():
    placements, found = season(STILL, ((700, 0), 0, 1))
    framing = framed(placements, SHAPE, WIDE, found)
    assert framing.joints == (None,)
    first, second = framing.windows([(k, k + 1) for k in range(18, 21)], 30)[1]
    assert first == framing.stretches[0].window
    assert second == framing.stretches[1].window


def test_a_single_frame_that_stands_far_off_is_named_and_costs_nothing():
    placements, _ = season(STILL)
    placements[7] = movement(SHAPE, (60, 10), 4)
    framing = framed(placements, SHAPE, WIDE)
    assert framing.left_out == (7,)
    assert framing.stretches[0].window.box[2] - framing.stretches[0].window.box[0] > 940


def test_a_view_that_shows_hardly_anything_of_the_bench_is_left_out_whole():
    placements, found = season(STILL, ((0, 0), 0, 8), STILL)
    framing = framed(placements, SHAPE, WIDE, found)
    assert framing.left_out == tuple(range(20, 40))
    assert framing.stretches[0].window.box[2] - framing.stretches[0].window.box[0] > 940
    nothing = framed([movement(SHAPE, zoom=9)] * 3, SHAPE, WIDE)
    assert nothing.left_out == (0, 1, 2)


def test_frames_with_a_sliver_missing_are_kept():
    placements, _ = season(STILL)
    placements[7] = movement(SHAPE, (6, 0))
    framing = framed(placements, SHAPE, WIDE)
    assert framing.left_out == ()


@pytest.mark.parametrize(
    ("size", "wanted"), [(WIDE, (40, 500, 700, 700)), (SQUARE, (600, 50, 900, 600))]
)
def test_the_window_goes_to_where_the_regions_are(size, wanted):
    framing = framed([None] * 3, SHAPE, size, wanted=[wanted])
    assert framing.cut_off == 0
    left, top, right, bottom = framing.stretches[0].window.box
    assert min(wanted[0] - left, wanted[1] - top, right - wanted[2], bottom - wanted[3]) >= 0


def test_a_shape_that_cannot_hold_all_regions_holds_whole_ones_rather_than_halves():
    row = [(240 * k + 10, 200, 240 * k + 230, 420) for k in range(4)]
    left, _, right, _ = framed([None] * 3, SHAPE, SQUARE, wanted=row).stretches[0].window.box
    whole = [box for box in row if left <= box[0] + 0.02 and box[2] <= right + 0.02]
    assert len(whole) == 3 > (right - left) / 240 - 0.02


def test_it_says_how_much_of_the_regions_a_shape_cuts_off():
    halves = [(-0.5, -0.5, 959.5, 359.5), (-0.5, 359.5, 959.5, 719.5)]
    upright = framed([None] * 3, SHAPE, UPRIGHT, wanted=halves)
    assert upright.cut_off == pytest.approx(1 - 0.995**2 * 405 / 960, abs=0.001)
    assert framed([None] * 3, SHAPE, UPRIGHT, wanted=halves, fit="whole").cut_off < 0.011


def test_shown_whole_it_stands_in_the_middle_of_the_paper():
    window = framed([None] * 3, SHAPE, UPRIGHT, fit="whole").stretches[0].window
    assert window.inner == (0, 555, 1080, 810)
    assert project(window.matrix, np.array([[539.5, 959.5]]))[0] == pytest.approx([479.5, 359.5])
    assert on_paper((0, 0, 960, 720), WIDE, 4 / 3).inner == (240, 0, 1440, 1080)


def test_a_window_is_kept_while_frames_show_it():
    placements, found = season(STILL, ((3, 0), 0.2, 1))
    first = framed(placements[:20], SHAPE, WIDE)
    later = framed(placements, SHAPE, WIDE, found, previous=first.boxes)
    assert later.boxes == first.boxes


def test_old_pictures_keep_their_window_when_a_new_view_needs_another():
    placements, found = season(STILL, ((60, 0), 0, 1))
    first = framed(placements[:20], SHAPE, WIDE)
    later = framed(placements, SHAPE, WIDE, found, previous=first.boxes)
    assert later.boxes[0] == first.boxes[0]
    assert len(later.boxes) == 2
    assert max(uncovered(later, placements, 1)) == 0
    again = framed(placements, SHAPE, WIDE, found, previous=later.boxes)
    assert again == later


def test_windows_of_another_shape_are_not_kept():
    square = framed([None] * 3, SHAPE, SQUARE)
    assert framed([None] * 3, SHAPE, WIDE, previous=square.boxes) == framed([None] * 3, SHAPE, WIDE)


def test_a_move_begins_and_ends_at_rest():
    way = np.array([eased(t) for t in np.linspace(0, 1, 101)])
    assert (way[0], way[50], way[100]) == pytest.approx((0, 0.5, 1))
    assert (np.diff(way) >= 0).all()
    assert np.diff(way)[[0, -1]] == pytest.approx(0, abs=2e-5)
