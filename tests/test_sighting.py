"""What prove says of frames is what was put in: places, knocks, and what was left out."""

from dataclasses import replace

import numpy as np
import pytest

from lapsekit.catalogue import Placement
from lapsekit.measuring import measure
from lapsekit.sample import TrueView
from lapsekit.sighting import placing_error_px, sighting
from tests.scenes import fill

KNOCKED_FROM = 7


def moved(x, y):
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


@pytest.fixture
def told(season):
    """Fifteen frames placed 0.2 px beside the truth after the first, knocked by (9, 12) px."""
    fill(season)
    measure(season, workers=1)
    frames = season.catalogue.frames()
    views, screened = {}, {f.path: s for f, s in season.catalogue.screenings()}
    for number, frame in enumerate(frames):
        x, y = (9.0, 12.0) if number >= KNOCKED_FROM else (0.0, 0.0)
        views[frame.path] = TrueView(moved(x, y), x, y, 0.0)
        off = 0.2 if number else 0.0
        matrix = tuple(moved(x + off, y).ravel())
        placement = Placement(frame.path, matrix, 0.1, 0.1, "patches")
        season.catalogue.record(screened[frame.path], placement, [], None)
    return season, frames, views


def told_of(told, **states):
    season, frames, views = told
    true = {frame.path: "usable" for frame in frames}
    true |= {frames[int(n)].path: state for n, state in states.items()}
    return sighting(season, true, views)


def test_errors_of_places_are_those_put_in(told):
    placing = told_of(told).placing
    assert (placing.frames, placing.refused) == (15, 0)
    assert placing.median_px == pytest.approx(0.2)
    assert placing.p95_px == pytest.approx(0.2)


def test_a_knock_stands_beside_its_truth_and_one_not_told_is_said(told):
    season, frames, views = told
    (knock,) = told_of(told).knocks
    assert knock.at == frames[KNOCKED_FROM].taken_at
    assert knock.told_at == knock.at
    assert (knock.true_px, knock.told_px) == (15, pytest.approx(15, abs=0.25))
    still = {path: replace(view, shift_x_px=0, shift_y_px=0) for path, view in views.items()}
    (false,) = told_of((season, frames, still)).knocks
    assert false.true_px == 0
    assert false.told_px == pytest.approx(15, abs=0.25)
    last = replace(views[frames[3].path], shift_x_px=40.0)
    missed = told_of((season, frames, {**views, frames[3].path: last})).knocks
    assert [k.told_at is None for k in missed] == [True, True, False]


def test_frames_left_out_are_counted_by_their_true_state(told):
    season, frames, _ = told
    dark = {f.path: s for f, s in season.catalogue.screenings()}[frames[2].path]
    placement = season.catalogue.placements("bench")[2][1]
    season.catalogue.record(replace(dark, reasons=("dark",)), placement, [], None)
    found = told_of(told, **{"2": "dark", "5": "dew"}).states
    assert list(found) == ["usable", "dark", "dew"]
    assert (found["usable"].frames, found["usable"].left_out) == (13, 0)
    assert (found["dark"].left_out, found["dark"].reasons) == (1, {"dark": 1})
    assert (found["dew"].frames, found["dew"].left_out) == (1, 0)


def test_an_error_of_place_is_taken_over_the_whole_picture():
    turn = np.deg2rad(0.1)
    turned = np.array([[1, -turn, 0], [turn, 1, 0], [0, 0, 1.0]])
    far = np.hypot(959, 719) * turn
    assert 0.8 * far < placing_error_px(turned, np.eye(3), (720, 960)) < far
