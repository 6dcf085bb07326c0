"""Areas do not depend on what lens and JPEG did to the edge."""

from importlib import resources

import numpy as np
import pytest

from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.edges import leaf_shares
from tests.leaf_scenes import (
    DARK_SOIL,
    GREEN,
    PALE,
    SOIL,
    WOOD,
    Camera,
    disc,
    photographed,
    rosette,
    scene,
    share,
)

CAMERAS = (
    Camera(blur_px=0.5, sharpening=0.0, quality=90),
    Camera(blur_px=0.9, sharpening=0.5, quality=75),
    Camera(blur_px=1.4, sharpening=0.3, quality=80),
)


@pytest.fixture(scope="module")
def model():
    text = resources.files("lapsekit.vision").joinpath("canopy_model.json").read_text("utf-8")
    return CanopyModel.from_json(text)


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("ground", [SOIL, WOOD, DARK_SOIL])
@pytest.mark.parametrize("leaf", [GREEN, PALE])
@pytest.mark.parametrize(("radius", "most"), [(27, 0.03), (135, 0.01)])
def test_discs_have_their_area(model, radius, most, leaf, ground, camera):
    """Discs of 1 and 5 cm at 27 px per cm: within 3 % and 1 %, through blur, sharpening, JPEG."""
    picture, truth = scene(disc(radius, radius + 41), leaf, ground, camera)
    found = model.cover(picture, detail=camera.detail).sum()
    assert found == pytest.approx(truth.sum(), rel=most)


def test_a_threshold_alone_would_widen_the_small_disc(model):
    """The mask of the same disc, which any pixel with some leaf may join, is off by more."""
    picture, truth = scene(disc(27, 68), PALE, DARK_SOIL, CAMERAS[2])
    assert model.mask(picture).sum() > 1.05 * truth.sum()


def test_shares_are_those_of_linear_light():
    """Without noise, pixels that are part leaf give back their share within 0.05."""
    fine = disc(40.4, 64)
    truth = share(fine)
    light = truth[..., None] * np.float32([0.1, 0.4, 0.08]) + (1 - truth[..., None]) * 0.03
    picture = photographed(light, Camera(blur_px=0.01, sharpening=0, grain=0, quality=100))
    rim = np.flatnonzero((truth > 0) & (truth < 1))
    mask = (truth > 0.5).astype(np.uint8)
    found = leaf_shares(picture, mask, rim)
    assert found.known.mean() > 0.9
    assert np.abs(found.leaf - truth.ravel()[rim])[found.known].mean() < 0.05


def test_nothing_is_known_without_pure_colours():
    """A leaf 3 px wide shows no pure colour, and leaf like the ground none that differs."""
    narrow = np.zeros((400, 400), bool)
    narrow[:, 196:208] = True
    picture, truth = scene(narrow)
    mask = (truth > 0.5).astype(np.uint8)
    assert not leaf_shares(picture, mask, np.flatnonzero(mask)).known.any()
    same, truth = scene(rosette(160, (80, 80), 60), leaf=SOIL, ground=SOIL, roughness=0.0)
    mask = (truth > 0.5).astype(np.uint8)
    assert leaf_shares(same, mask, np.flatnonzero(mask)).known.mean() < 0.2
