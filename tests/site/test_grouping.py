"""A group of regions is one row: the mean of its plants, open where one is missing."""

from datetime import date

import pytest

from lapsekit.catalogue import Daily
from lapsekit.language.words import ENGLISH
from lapsekit.settings import Region
from lapsekit.site.grouping import folded

DAY, NEXT = date(2031, 4, 1), date(2031, 4, 2)


def region(name, group=None, camera="bench"):
    outline = {"from": DAY, "points": None}
    return Region.model_validate(
        {"name": name, "camera": camera, "group": group, "outline": [outline]}
    )


def value(name, day, area):
    return Daily(name, day, area and area / 100, None, None, area, area, area, 4, {"dark": 1})


def test_a_group_is_the_mean_of_its_plants_with_their_range():
    regions = [region("basil"), region("plug-1", "feed A"), region("plug-2", "feed A")]
    values = {
        r.name: {DAY: value(r.name, DAY, area)} for r, area in zip(regions, (9, 2, 4), strict=True)
    }
    rows, means = folded(ENGLISH, regions, values)
    assert [r.title for r in rows] == ["Basil", "feed A, mean of 2"]
    (mean,) = (days[DAY] for days in means.values())
    assert (mean.area_cm2, mean.area_low_cm2, mean.area_high_cm2) == (3, 2, 4)
    assert mean.cover == pytest.approx(0.03)
    assert mean.left_out == {"dark": 1}, "the same frames were left out for all"


def test_a_day_on_which_one_plant_has_no_value_is_open():
    regions = [region("plug-1", "feed A"), region("plug-2", "feed A")]
    values = {
        "plug-1": {DAY: value("plug-1", DAY, 2), NEXT: value("plug-1", NEXT, 3)},
        "plug-2": {DAY: value("plug-2", DAY, None), NEXT: value("plug-2", NEXT, 5)},
    }
    _, means = folded(ENGLISH, regions, values)
    (days,) = means.values()
    assert days[DAY].area_cm2 is None
    assert days[NEXT].area_cm2 == 4


def test_a_single_plant_and_other_cameras_are_not_folded():
    regions = [region("a", "x"), region("b", "x", camera="shelf"), region("c")]
    rows, means = folded(ENGLISH, regions, {})
    assert rows == regions
    assert means == {}
