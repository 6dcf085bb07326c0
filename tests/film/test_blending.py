"""What moves between two pictures is on its way in between; what cannot be followed is faded."""

import cv2
import numpy as np
import pytest

from lapsekit.film.blending import between_pictures, cross_fade, flow_between

SHAPE = (240, 320)


def textured(seed, mean=110, size=SHAPE):
    noise = np.random.default_rng(seed).normal(0, 1, (*size, 3)).astype(np.float32)
    soft = cv2.GaussianBlur(noise, (0, 0), 1.5)
    return mean + 28 * soft / soft.std()


def leaf_at(x, light=1.0, seed=1):
    """A patterned disc of radius 45 px at (x, 120) on a patterned ground."""
    picture = textured(0)
    leaf = textured(seed, (60, 150, 40), (120, 120))
    y, across = np.mgrid[: SHAPE[0], : SHAPE[1]]
    inside = (across - x) ** 2 + (y - 120) ** 2 <= 45**2
    picture[inside] = leaf[(y - 60)[inside], (across - x + 60)[inside]]
    return np.clip(picture * light + 0.5, 0, 255).astype(np.uint8)


def off(found, true, box=np.s_[80:160, 100:200]):
    return float(np.abs(found[box].astype(float) - true[box]).mean())


def test_a_leaf_that_moves_stands_between_its_places_half_way():
    first, second, true = leaf_at(140), leaf_at(148), leaf_at(144)
    moved = between_pictures(first, second, 0.5)
    assert off(moved, true) < 0.4 * off(cross_fade(first, second, 0.5), true)


def test_it_does_so_when_the_light_is_another():
    first, second, true = leaf_at(140), leaf_at(148, light=0.7), leaf_at(144, light=0.85)
    moved = between_pictures(first, second, 0.5)
    assert off(moved, true) < 0.5 * off(cross_fade(first, second, 0.5), true)


@pytest.mark.parametrize("mix", [0.25, 0.75])
def test_it_is_on_its_way_at_other_moments_too(mix):
    first, second, true = leaf_at(140), leaf_at(148), leaf_at(140 + round(8 * mix))
    moved = between_pictures(first, second, mix, flow_between(first, second))
    assert off(moved, true) < 0.5 * off(cross_fade(first, second, mix), true)


def test_pictures_that_have_nothing_in_common_are_faded_and_never_torn():
    first, second = textured(3).astype(np.uint8), textured(4).astype(np.uint8)
    assert off(between_pictures(first, second, 0.5), cross_fade(first, second, 0.5)) < 1


def test_what_stands_still_stays_as_sharp_as_a_fade_leaves_it():
    first, second = leaf_at(140), leaf_at(140, light=0.8)
    ends = np.s_[:, :80]
    found = between_pictures(first, second, 0.5)
    assert np.abs(found[ends].astype(int) - cross_fade(first, second, 0.5)[ends]).max() <= 2


@pytest.mark.parametrize("blend", [cross_fade, between_pictures])
def test_at_its_ends_it_is_the_pictures_themselves(blend):
    first, second = leaf_at(140), leaf_at(148)
    assert np.array_equal(blend(first, second, 0.0), first)
    assert np.array_equal(blend(first, second, 1.0), second)


def test_a_fade_goes_in_even_steps():
    dark, light = (np.full((4, 4, 3), level, np.uint8) for level in (20, 220))
    levels = [int(cross_fade(dark, light, k / 10)[0, 0, 0]) for k in range(11)]
    assert levels == list(range(20, 221, 20))


def test_the_same_comes_out_on_any_number_of_threads():
    first, second, before = leaf_at(140), leaf_at(148), cv2.getNumThreads()
    try:
        cv2.setNumThreads(1)
        one = between_pictures(first, second, 0.3)
        cv2.setNumThreads(3)
        assert np.array_equal(between_pictures(first, second, 0.3), one)
    finally:
        cv2.setNumThreads(before)
