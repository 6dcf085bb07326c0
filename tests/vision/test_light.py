"""Casts and exposures are read off what does not grow, and undone."""

import cv2
import numpy as np
import pytest

from lapsekit.vision.light import UNCHANGED, Light, corrected, even_out, from_card
from tests.vision.drawn_bench import HEIGHT, WIDTH, light_of, photographed, reflectance

CARD = [(300, 160), (340, 160), (340, 200), (300, 200)]
GREY = (0.2, 0.2, 0.2)
PLANTS = np.ones((HEIGHT, WIDTH), bool)
for _x in (80, 240, 400):
    for _y in (90, 250):
        cv2.circle(_still := PLANTS.astype(np.uint8), (_x, _y), 60, 0, -1)
        PLANTS &= _still > 0
STILL = PLANTS


def bench(growth=0.0, card=True):
    light = reflectance(growth)
    if card:
        light[160:201, 300:341] = GREY
    return light


def taken(light, factors=(1, 1, 1), seed=0):
    return photographed(light * np.float32(factors), seed)


def ratios(light: Light, factors):
    """What is left of known channel factors, as a share: 0 where they are undone."""
    left = np.log(np.array(light.gains) * light.exposure * factors)
    return float(np.ptp(left)), float(left.mean())


REFERENCE = taken(bench())


@pytest.mark.parametrize(
    "factors",
    [(1.2, 1, 0.8), (0.8, 1, 1.2), (1, 0.8, 1), (1.3, 1.3, 1.3), (0.7, 0.7, 0.7), (0.8, 0.65, 0.7)],
)
def test_casts_and_exposures_are_undone_within_two_percent(factors):
    light = even_out(taken(bench(growth=9), factors, seed=1), REFERENCE, STILL, CARD)
    channels, exposure = ratios(light, factors)
    assert channels < 0.02
    assert abs(exposure) < 0.02
    assert light.method == "both"
    assert light.spread < 0.1


def test_the_corrected_picture_is_the_reference_again():
    light = Light((1.1, 1.0, 1 / 1.1), 0.8, "known", 0.0)
    spoilt = taken(bench(), 1 / (np.array(light.gains) * light.exposure), seed=2)
    again = corrected(spoilt, light).astype(int)
    assert np.abs(again - REFERENCE)[STILL].mean() < 2


@pytest.mark.parametrize("number", [4, 5, 6, 7])
def test_a_shadow_over_a_tenth_of_the_bench_moves_nothing(number):
    sunny = light_of(number) / light_of(number).max() * reflectance(number * 0.2).max()
    level = float(np.median(sunny[STILL] / reflectance(number * 0.2)[STILL]))
    light = even_out(photographed(sunny, number), taken(bench(card=False)), STILL)
    channels, exposure = ratios(light, (level,) * 3)
    assert channels < 0.02
    assert abs(exposure) < 0.03


def test_plants_that_turn_red_do_not_tint_the_light():
    red = bench(growth=25)
    leaves = (red[..., 1] > 1.5 * red[..., 0]) & ~STILL
    red[leaves] = red[leaves][:, [1, 0, 2]]
    channels, _ = ratios(even_out(taken(red, seed=3), REFERENCE, STILL), (1, 1, 1))
    assert channels < 0.01


def test_the_card_alone_serves_where_nothing_else_can_be_read():
    nothing = np.zeros((HEIGHT, WIDTH), bool)
    light = even_out(taken(bench(), (1.2, 1, 0.9), seed=4), REFERENCE, nothing, CARD)
    assert light.method == "grey card"
    assert ratios(light, (1.2, 1, 0.9))[0] < 0.02


def half_shaded(light):
    light[160:201, 300:320] *= 0.5


def hidden_by_a_leaf(light):
    light[165:201, 310:341] = (0.05, 0.2, 0.04)


def burnt(light):
    light[160:201, 300:341] = 1.4


def black(light):
    light[160:201, 300:341] = 0.0005


@pytest.mark.parametrize("spoil", [half_shaded, hidden_by_a_leaf, burnt, black])
def test_a_card_that_cannot_be_believed_is_not(spoil):
    light = bench()
    spoil(light)
    picture = taken(light, seed=5)
    assert from_card(picture, REFERENCE, CARD) is None
    found = even_out(picture, REFERENCE, STILL, CARD)
    assert found.method == "surroundings"
    assert ratios(found, (1, 1, 1))[0] < 0.02


def test_a_card_that_contradicts_the_surroundings_loses():
    """A card swapped for a reddish one: lit evenly, in range, and wrong."""
    light = bench()
    light[160:201, 300:341] = (0.3, 0.2, 0.15)
    found = even_out(taken(light, seed=6), REFERENCE, STILL, CARD)
    assert found.method == "surroundings"
    assert ratios(found, (1, 1, 1))[0] < 0.02


def test_nothing_is_changed_where_nothing_can_be_read():
    black = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    assert even_out(black, REFERENCE) is UNCHANGED
    assert np.array_equal(corrected(REFERENCE, UNCHANGED), REFERENCE)


def test_a_camera_that_was_moved_reads_the_same_light():
    """Pixels that are not laid on one another compare leaf with soil; the matrix lays them."""
    turn = np.vstack([cv2.getRotationMatrix2D((240, 180), 2.0, 1.0), [0, 0, 1]])
    turn[:2, 2] += (9, -6)  # from the reference view to the frame
    seen = cv2.warpPerspective(taken(bench(), (1.2, 1, 0.85), seed=7), turn, (480, 360))
    light = even_out(seen, REFERENCE, STILL, CARD, turn)
    assert light.method == "both"
    channels, exposure = ratios(light, (1.2, 1, 0.85))
    assert channels < 0.01
    assert abs(exposure) < 0.01
