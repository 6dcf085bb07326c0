"""A lamp's tint is told from daylight's, by ground or by a card, and taken off."""

import numpy as np
import pytest

from lapsekit.vision.colour import LINEAR
from lapsekit.vision.light import UNCHANGED, corrected
from lapsekit.vision.tint import neutral

SOIL, WOOD, POT = (0.09, 0.065, 0.045), (0.32, 0.27, 0.21), (0.42, 0.2, 0.12)
GREEN, RED = (0.09, 0.22, 0.05), (0.12, 0.03, 0.045)
CARD = [(20, 20), (60, 20), (60, 60), (20, 60)]
LAMPS = {"pink": (1.25, 0.7, 1.2), "purple": (1.45, 0.5, 1.4)}
DAYLIGHT = {
    "noon": (1, 1, 1),
    "shade": (0.8, 1, 1.3),
    "bulb": (1.4, 1, 0.5),
    "hedge": (0.96, 1.08, 0.96),
}


def bench(light, leaves=GREEN, share=0.15, seed=0):
    """Soil, wood and a pot's clay with a grey card, and leaves over a share of it."""
    random = np.random.default_rng(seed)
    linear = np.empty((240, 320, 3), np.float32)
    linear[:120], linear[120:], linear[80:140, 100:180] = SOIL, WOOD, POT
    linear[:, : round(320 * share)] = leaves
    linear[20:60, 20:60] = 0.18
    linear *= np.exp(random.normal(0, 0.15, linear.shape[:2]))[..., None]
    linear[20:60, 20:60] = 0.18
    levels = np.searchsorted(LINEAR, np.clip(linear * np.float32(light), 0, 1))
    noisy = levels + random.normal(0, 1.5, levels.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def purple(picture):
    """Red and blue over green, log units of linear light, of the middle of what there is."""
    red, green, blue = np.moveaxis(np.log(LINEAR[picture] + 1e-4), -1, 0)
    return float(np.median((red + blue) / 2 - green))


@pytest.mark.parametrize("lamp", LAMPS)
@pytest.mark.parametrize("card", [None, CARD])
def test_ground_looks_under_a_plant_lamp_as_in_daylight(lamp, card):
    picture = bench(LAMPS[lamp])
    assert purple(picture) > purple(bench((1, 1, 1))) + 0.3
    found = neutral(picture, card)
    assert found.method == ("grey card" if card else "surroundings")
    away = purple(corrected(picture, found)) - purple(bench((1, 1, 1)))
    # Ground need not be grey: wood and soil are a little greener
    assert abs(away) < (0.03 if card else 0.12)


@pytest.mark.parametrize("light", DAYLIGHT)
@pytest.mark.parametrize("card", [None, CARD])
def test_light_as_it_comes_from_sky_and_bulbs_stays(light, card):
    found = neutral(bench(DAYLIGHT[light]), card)
    if (light, card) == ("bulb", CARD):
        assert found.gains[0] < 1 < found.gains[2], "yellow as a candle, and a card says so"
    else:
        assert found is UNCHANGED


@pytest.mark.parametrize("share", [0.4, 0.7, 0.9])
@pytest.mark.parametrize("leaves", [GREEN, RED])
def test_leaves_do_not_pass_for_a_lamp(leaves, share):
    assert neutral(bench((1, 1, 1), leaves, share)) is UNCHANGED


def test_a_tint_is_taken_off_without_a_jump():
    """From none to a plant lamp's in small steps, of which none changes what is taken by 7 %."""
    taken = [neutral(bench((g**-0.5, g, g**-0.5)), CARD).gains[1] for g in np.linspace(1, 0.5, 41)]
    assert taken[0] == 1 and taken[-1] > 1.4
    assert np.abs(np.diff(np.log(taken))).max() < 0.07


def test_black_says_nothing():
    assert neutral(np.zeros((90, 120, 3), np.uint8)) is UNCHANGED
