"""latest.json under keys that stay, and the growth of the whole bench in a week."""

import json
from dataclasses import replace
from math import exp, hypot

import pytest

from lapsekit.language.words import ENGLISH
from lapsekit.site.elsewhere.latest import latest_json
from lapsekit.site.elsewhere.together import together, who_text
from tests.site.elsewhere.hostile_season import ADDRESS, day, plant, season


def told(season_told):
    return json.loads(latest_json(season_told))


def shape(value):
    """Keys of a JSON value, without what they hold."""
    if isinstance(value, dict):
        return {key: shape(each) for key, each in value.items()}
    return [shape(value[0])] if isinstance(value, list) and value else None


PICTURE = dict.fromkeys(("address", "type", "width", "height"))


def test_the_keys_are_those_that_are_promised():
    assert shape(told(season())) == {
        **dict.fromkeys(("format", "title", "language", "sown", "site", "page")),
        **dict.fromkeys(("day", "plant_age_days", "taken_at")),
        "pictures": dict.fromkeys(("today", "link", "square", "upright"), PICTURE),
        "together": {
            **dict.fromkeys(("plants", "missing", "area_cm2", "area_a_week_before_cm2")),
            **dict.fromkeys(("change_share", "change_share_low", "change_share_high")),
        },
        "regions": [
            {
                **dict.fromkeys(("name", "title", "group", "plant_age_days", "unit")),
                **dict.fromkeys(("value", "low", "high", "value_a_week_before")),
                **dict.fromkeys(("change", "change_share", "frames_used")),
            }
        ],
        "links": dict.fromkeys(("atom", "json_feed", "calendar", "data", "embed")),
    }


def test_it_tells_the_latest_day_with_absolute_addresses():
    found = told(season(3))
    assert (found["day"], found["plant_age_days"]) == ("2031-04-03", 9)
    assert found["taken_at"] == "2031-04-03T10:02:00Z"
    assert found["page"] == f"{ADDRESS}day/2031-04-03/"
    assert found["pictures"]["today"] == {
        "address": f"{ADDRESS}today.jpg",
        "type": "image/jpeg",
        "width": 1600,
        "height": 1200,
    }
    region = found["regions"][0]
    assert (region["value"], region["low"], region["high"]) == (110, 99, 121)
    assert (region["change"], region["change_share"]) == (10, 0.1)


def test_without_an_address_paths_are_relative_and_feeds_are_null():
    found = told(season(address=None))
    assert found["site"] == "index.html"
    assert found["page"] == "day/2031-04-03/index.html"
    assert found["pictures"]["square"]["address"] == "cards/square.jpg"
    assert found["links"] == {
        "atom": None,
        "json_feed": None,
        "calendar": "diary.ics",
        "data": "data/datapackage.json",
        "embed": "embed/index.html",
    }


def test_before_there_is_a_picture_the_same_keys_are_there():
    found = told(season(0))
    assert set(found) == set(told(season()))
    assert found["day"] is None
    assert found["together"] is None
    assert (found["regions"], found["pictures"]) == ([], {})


def test_what_was_not_measured_is_null_and_never_a_guess():
    gap = plant(value=None)
    found = told(replace(season(1), days=(day(plants=[gap]),)))
    assert found["together"] is None
    region = found["regions"][0]
    assert [region[k] for k in ("value", "low", "high", "change", "change_share")] == [None] * 5


def test_the_bench_is_the_sum_of_the_plants_seen_on_both_days():
    plants = [
        plant("a", "A", 30.0, 20.0),
        plant("b", "B", 300.0, 200.0),
        plant("c", "C", 50.0, None),
        plant("d", "D", None, 50.0),
        plant("e", "E", 60.0, 30.0, unit="%"),
    ]
    found = together(plants)
    assert (found.value_cm2, found.before_cm2) == (330, 220)
    assert found.share == pytest.approx(0.5)
    assert (found.known, found.missing) == (("A", "B"), ("C", "D", "E"))
    assert who_text(found, ENGLISH) == "2 of 5 plants together, without C, D, E"


def test_doubts_of_one_day_add_up_and_those_of_two_days_join_in_quadrature():
    one = plant("a", "A", 30.0, 20.0, doubt=3.0, doubt_before=4.0)
    two = plant("b", "B", 70.0, 80.0, doubt=7.0, doubt_before=16.0)
    found = together([one, two])
    wide = hypot(10 / 100, 20 / 100)
    assert found.share_low == pytest.approx(exp(-wide) - 1)
    assert found.share_high == pytest.approx(exp(wide) - 1)
    assert together([one, replace(two, doubt=None)]).share_low is None


def test_nothing_is_said_of_plants_that_were_not_there_a_week_ago():
    assert together([plant(before=0.0)]) is None
    assert together([]) is None


def test_who_is_added_up_is_said_shortly_where_many_are_missing():
    plants = [plant(str(n), str(n), before=None) for n in range(6)]
    assert who_text(together([plant(), *plants]), ENGLISH) == "1 of 7 plants together"
    assert who_text(together([plant(), plant("b", "B")]), ENGLISH) == "All 2 plants together"
