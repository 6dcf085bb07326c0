"""Soil that the reference frame shows bare is known again; leaves on it are not taken for it."""

import cv2
import numpy as np
import pytest

from lapsekit.vision.known_ground import BESIDE_PX, MOST, SURE, KnownGround, settled

SOIL, LEAF, RED_LEAF = (104, 66, 52), (70, 120, 52), (104, 44, 62)
SHAPE = 120, 161
HALF = 60, 81
CENTRE, RADIUS = (90, 60), 20


def soil(seed=1, light=1.0):
    """Crumbs of reddish soil; sRGB values times 0.73 and 1.35 are half the light, and double."""
    rng = np.random.default_rng(seed)
    crumbs = np.exp(cv2.GaussianBlur(rng.normal(0, 0.5, SHAPE), (0, 0), 1.0))[..., None]
    return np.clip(np.array(SOIL) * light * crumbs, 0, 255).astype(np.uint8)


def with_disc(picture, colour):
    return cv2.circle(picture.copy(), CENTRE, RADIUS, colour, -1, cv2.LINE_AA)


def within(radius):
    return cv2.circle(np.zeros(SHAPE, np.uint8), CENTRE, radius, 1, -1) > 0


def evidence_of(known, picture, matrix):
    """In the picture's own size."""
    found = known.evidence(picture, matrix)
    assert found.shape == HALF and found.dtype == np.float32
    return cv2.resize(found, SHAPE[::-1])


@pytest.fixture
def bare():
    return KnownGround.of(soil(), np.full(SHAPE, -5, np.float32))


@pytest.mark.parametrize("light", [0.73, 1.0, 1.35])
def test_the_same_soil_speaks_against_leaf_in_half_the_light_and_in_double(bare, light):
    evidence = evidence_of(bare, soil(2, light), np.eye(3))
    assert np.median(evidence) < -0.4 * MOST and (evidence <= 0).all() and evidence.min() >= -MOST


@pytest.mark.parametrize("colour", [LEAF, RED_LEAF])
def test_nothing_speaks_against_a_leaf_that_grew_there(bare, colour):
    evidence = evidence_of(bare, with_disc(soil(2), colour), np.eye(3))
    assert not evidence[within(RADIUS - 4)].any()
    assert np.median(evidence[~within(RADIUS + 4)]) < -0.6 * MOST


def test_where_the_reference_frame_shows_leaf_nothing_is_known():
    picture = with_disc(soil(), LEAF)
    odds = np.where(within(RADIUS), 5, -5).astype(np.float32)
    known = KnownGround.of(picture, odds)
    evidence = evidence_of(known, soil(2), np.eye(3))  # the plant was taken away
    assert not evidence[within(RADIUS + 1)].any()
    assert np.median(evidence[~within(RADIUS + 6)]) < -0.6 * MOST


def test_ground_is_looked_for_where_the_camera_shows_it_now():
    picture = soil()
    picture[:, 80:] = (180, 170, 60)  # boards on the right
    known = KnownGround.of(picture, np.full(SHAPE, -5, np.float32))
    moved = np.array([[1, 0, -24.0], [0, 1, 0], [0, 0, 1]])
    frame = np.roll(picture, -24, axis=1)
    here = evidence_of(known, frame, moved)[10:-10, 10:100]
    assert np.mean(here < -0.4 * MOST) > 0.9
    unmoved = evidence_of(known, frame, np.eye(3))[10:-10, 60:76]
    assert not unmoved.any()  # boards now lie where soil lay


def test_sure_leaf_and_its_edge_keep_their_odds():
    evidence = np.full(HALF, -3, np.float32)
    odds = np.where(within(RADIUS), SURE + 1, 1).astype(np.float32)
    found = settled(odds, evidence)
    kept = cv2.dilate(within(RADIUS).astype(np.uint8), np.ones((2 * BESIDE_PX + 1,) * 2)) > 0
    assert (found[kept] == odds[kept]).all()
    assert (found[~kept] == -2).all()
