"""What hangs on how strong colours are: known changes of colour, and scenes of known truth."""

import cv2
import numpy as np
import pytest

from lapsekit.resources import shipped_model_text
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.daily import FADED_SHARE
from lapsekit.vision.fading import FAINTER, faded_share, fainter

SIDE, RADIUS = 256, 70
AREA_PX = np.pi * RADIUS**2
SOIL, GREEN = np.float32([92, 74, 58]), np.float32([78, 118, 46])


@pytest.fixture(scope="module")
def model():
    return CanopyModel.from_json(shipped_model_text())


def disc(strength: float) -> np.ndarray:
    """A leaf on soil, whose colour is as strong as that: at 0 it is grey, as light as soil."""
    down, across = np.mgrid[:SIDE, :SIDE] - SIDE / 2
    inside = np.clip(RADIUS - np.hypot(down, across) + 0.5, 0, 1)[..., None]
    grey = np.float32([SOIL.mean()] * 3)
    scene = SOIL + inside * (grey + strength * (GREEN - GREEN.mean()) - SOIL)
    rough = np.random.default_rng(3).normal(0, 7, (SIDE, SIDE, 1))
    noise = cv2.GaussianBlur(rough, (0, 0), 1.2)[..., None] * 2
    return np.clip(scene + noise, 0, 255).round().astype(np.uint8)


def test_fainter_colours_are_a_fifth_nearer_to_grey_and_as_light():
    picture = np.random.default_rng(1).integers(0, 256, (40, 50, 3)).astype(np.uint8)
    found, before = fainter(picture).astype(float), picture.astype(float)
    assert np.abs(found.mean(axis=2) - before.mean(axis=2)).max() <= 0.5
    chroma, was = (each - each.mean(axis=2, keepdims=True) for each in (found, before))
    assert np.abs(chroma - (1 - FAINTER) * was).max() <= 1
    grey = np.repeat(picture[..., :1], 3, axis=2)
    np.testing.assert_array_equal(fainter(grey), grey)


def test_the_share_is_what_comes_or_goes_of_the_canopy_and_at_most_all_of_it():
    plain = np.float32([[0, 1], [1, 0]])
    assert faded_share(plain, 0.9 * plain) == pytest.approx(0.1)
    assert faded_share(plain, 1.2 * plain) == pytest.approx(0.2)
    assert faded_share(plain, 5 * plain) == 1
    assert faded_share(0 * plain, plain) == 0


def test_the_weaker_a_leaf_differs_from_soil_the_more_of_it_fades_and_so_far_it_is_wrong(model):
    """Of a leaf of full colour nothing hangs on it; of one that is lost nearly everything."""
    strengths = (1.0, 0.6, 0.4, 0.3, 0.25, 0.2)
    both = [model.fading(disc(strength)) for strength in strengths]
    shares = [faded_share(*each) for each in both]
    assert shares[0] < 0.005 and shares[-1] > 0.7
    assert shares == sorted(shares)
    for share, (plain, _) in zip(shares, both, strict=True):
        assert abs(plain.sum() / AREA_PX - 1) < 1.96 * FADED_SHARE * share + 0.005
    assert abs(both[-1][0].sum() / AREA_PX - 1) > 0.5  # so that there is something to be said


def test_what_the_network_makes_of_the_plain_picture_is_its_canopy(model):
    plain, _ = model.fading(disc(1.0))
    assert plain.sum() == pytest.approx(AREA_PX, rel=0.02)
