"""What hangs on how strong colours are: known changes of colour, and scenes of known truth."""

import numpy as np
import pytest

from lapsekit.resources import shipped_model_text
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.daily import FADED_SHARE
from lapsekit.vision.fading import FAINTER, NEAR_PX, faded_share, fainter, near_canopy
from tests.scenes import faint_leaves

SIDE, RADIUS = 256, 70
AREA_PX = np.pi * RADIUS**2


@pytest.fixture(scope="module")
def model():
    return CanopyModel.from_json(shipped_model_text())


def disc(strength):
    return faint_leaves([(SIDE / 2, SIDE / 2)], RADIUS, strength, (SIDE, SIDE), seed=3)


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


def test_what_is_near_reaches_so_far_around_canopy_and_no_farther():
    cover = np.zeros((60, 80), np.uint8)
    cover[30, 40], cover[5, 5] = 200, 100
    near = near_canopy(cover)
    assert near.sum() == (2 * NEAR_PX + 1) ** 2
    assert near[30 - NEAR_PX, 40] and not near[30 - NEAR_PX - 1, 40]
    assert not near_canopy(0 * cover).any()
