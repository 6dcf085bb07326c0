"""Places that two processors found alike are the same place from then on."""

import numpy as np
import pytest

from lapsekit.vision.homographies import apart_px, corners_of, project, settled
from lapsekit.vision.registration import Reference, register
from tests.vision.benches import bench, developed, moved, movement

SHAPE = (480, 640)
HUNDREDTH = 0.01
APART_PX = 1e-4
"""As far apart as two processors were seen to place a frame."""


def places(number):
    """Movements as cameras are knocked, and a little perspective."""
    random = np.random.default_rng(3)
    for _ in range(number):
        shift, turn, zoom = random.uniform(-9, 9, 2), random.uniform(-2, 2), random.normal(1, 0.01)
        matrix = movement(SHAPE, shift, turn, zoom)
        matrix[2, :2] += random.normal(0, 1e-5, 2)
        yield matrix


def test_a_settled_place_is_within_a_hundredth_of_a_pixel_of_what_was_found():
    for matrix in places(200):
        assert apart_px(settled(matrix, SHAPE), matrix, SHAPE) <= HUNDREDTH / 2**0.5 + 1e-6


def test_a_settled_place_stays_bit_for_bit():
    for matrix in places(200):
        once = settled(matrix, SHAPE)
        assert np.array_equal(settled(once, SHAPE), once)


@pytest.mark.parametrize("shape", [(480, 640), (720, 960), (37, 53)])
def test_a_view_that_was_not_moved_is_left_exactly_as_it_is(shape):
    assert np.array_equal(settled(np.eye(3), shape), np.eye(3))


def test_places_that_differ_as_between_processors_are_the_same_place_nearly_always():
    random = np.random.default_rng(4)
    same = []
    for matrix in places(300):
        other = np.eye(3)
        other[:2, 2] = random.uniform(-APART_PX, APART_PX, 2) / 2**0.5
        same.append(np.array_equal(settled(matrix, SHAPE), settled(other @ matrix, SHAPE)))
    assert 0.9 < np.mean(same) < 1


def test_a_registered_frame_has_its_corners_on_whole_hundredths():
    scene = bench(SHAPE)
    true = movement(SHAPE, (3.337, -2.613), 0.5)
    seen = developed(moved(scene, true), noise=1.5, seed=1)
    found = register(seen, Reference(developed(scene, noise=1.5)))
    hundredths = project(found.matrix, corners_of(SHAPE)) / HUNDREDTH
    assert hundredths == pytest.approx(np.round(hundredths), abs=1e-4)
    assert apart_px(found.matrix, true, SHAPE) < 0.15
