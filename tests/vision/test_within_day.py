"""Movement, wilting, greenness, yellow and red are told apart on plants of known colour."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from lapsekit.vision.within_day import Colour, Movement, colours, movement

SUNRISE = datetime(2031, 4, 17, 5, tzinfo=UTC)
SUNSET = SUNRISE + timedelta(hours=14)
GREEN, YELLOW, RED, GREY = (70, 140, 48), (200, 180, 60), (110, 45, 60), (120, 120, 120)


def of(*parts):
    """A plant whose equal columns have these colours."""
    picture = np.repeat(np.array(parts, np.uint8)[None], 10, axis=0).repeat(6, axis=1)
    return picture, np.ones(picture.shape[:2], int)


def at(*hours):
    return [SUNRISE + timedelta(hours=h) for h in hours]


def test_greenness_is_the_green_share_of_the_light():
    (found,) = colours(*of(GREEN), 1)
    assert found.greenness == pytest.approx(140 / 258)
    assert colours(*of(GREY), 1)[0].greenness == pytest.approx(1 / 3)


def test_greenness_does_not_follow_the_exposure():
    bright, dim = (colours(*of(tuple(int(c * f) for c in GREEN)), 1)[0] for f in (1.5, 0.5))
    assert bright.greenness == pytest.approx(dim.greenness, abs=0.002)


def test_yellow_and_red_are_shares_of_the_canopy_and_grey_is_neither():
    (found,) = colours(*of(GREEN, YELLOW, RED, GREY), 1)
    assert (found.yellow_share, found.red_share) == (0.25, 0.25)


def test_each_region_has_its_own_colours_and_an_empty_one_none():
    picture, labels = of(GREEN, YELLOW)
    labels[:, 6:] = 3
    green, none, yellow = colours(picture, labels, 3)
    assert (green.yellow_share, yellow.yellow_share) == (0.0, 1.0)
    assert none == Colour(None, None, None)
    assert colours(picture, labels * 0, 1) == (Colour(None, None, None),)


def test_black_pixels_have_no_colour():
    (found,) = colours(*of((0, 0, 0)), 1)
    assert found == Colour(pytest.approx(1 / 3), 0.0, 0.0)


def test_wilting_at_midday_is_told_from_growth_over_the_day():
    hours = at(3, 7, 11)
    wilted = movement(hours, [100.0, 80.0, 104.0], SUNRISE, SUNSET)
    growing = movement(hours, [100.0, 102.0, 104.0], SUNRISE, SUNSET)
    assert wilted.midday_change == pytest.approx(80 / 102 - 1)
    assert growing.midday_change == pytest.approx(0)
    assert growing.range_share == pytest.approx(4 / 102)


def test_without_a_frame_in_each_part_of_the_day_wilting_is_not_told():
    assert movement(at(3, 7), [100.0, 80.0], SUNRISE, SUNSET).midday_change is None
    assert movement(at(7), [100.0], SUNRISE, SUNSET) == Movement(None, None)
    assert movement([], [], SUNRISE, SUNSET) == Movement(None, None)
    assert movement(at(3, 7, 11), [0.0, 0.0, 0.0], SUNRISE, SUNSET) == Movement(None, None)


def test_a_sun_that_sets_before_it_rises_is_refused():
    with pytest.raises(ValueError, match="sunset"):
        movement(at(3), [1.0], SUNSET, SUNRISE)
