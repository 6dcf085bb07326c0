"""A region that is the whole picture is no plant more beside those that are outlined in it.

It holds them all: wherever plants are counted, added up, drawn together or held against each other
it is left out. Where its camera has no outlines it is the one plant there is.
"""

import json
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.catalogue import Daily
from lapsekit.contrasting import compare_groups, plants_of
from lapsekit.film.facing import canopy_of
from lapsekit.film.sources import Panel
from lapsekit.language.words import ENGLISH
from lapsekit.noticing import notice
from lapsekit.reporting import work_out
from lapsekit.responding import responses_of
from lapsekit.season import Season
from lapsekit.settings import Region, plants_among
from lapsekit.site.almanac import gather
from lapsekit.site.build import build_site
from lapsekit.site.curves import gathered
from lapsekit.site.grouping import folded
from lapsekit.site.growth_facts import growth_facts, overviews
from tests.scenes import FIRST_DAY, REGIONS, make_season
from tests.site.small_season import add_frame
from tests.test_noticing import DAYS, rows_of

WHOLE = """
[[region]]
name = "bench"
camera = "bench"
[[region.outline]]
from = 2031-04-01
"""
POTTED, LAST = FIRST_DAY + timedelta(14), FIRST_DAY + timedelta(DAYS - 1)


def region(name, points, camera="bench", group=None):
    outline = {"from": FIRST_DAY, "points": points}
    told = {"name": name, "camera": camera, "group": group, "outline": [outline]}
    return Region.model_validate(told)


SQUARE = [[0, 0], [9, 0], [9, 9], [0, 9]]


@pytest.mark.parametrize(
    ("regions", "plants"),
    [
        ([region("bench", None)], ["bench"]),
        ([region("bench", None), region("a", SQUARE)], ["a"]),
        ([region("bench", None), region("a", SQUARE, "trough")], ["bench", "a"]),
        ([], []),
    ],
)
def test_a_whole_picture_is_a_plant_only_where_its_camera_has_no_outlines(regions, plants):
    assert [each.name for each in plants_among(regions)] == plants


def test_a_region_that_was_the_whole_picture_until_it_was_outlined_is_a_plant():
    later = [{"from": FIRST_DAY}, {"from": POTTED, "points": SQUARE}]
    told = {"name": "bench", "camera": "bench", "outline": later}
    assert len(plants_among([Region.model_validate(told), region("a", SQUARE)])) == 2


def test_a_whole_picture_is_folded_into_no_group():
    regions = [region("bench", None, group="A")]
    regions += [region(name, SQUARE, group="A") for name in ("a", "b")]
    assert [row.title for row in folded(ENGLISH, regions, {})[0]] == ["Bench", "A, mean of 2"]


def kept(folder, regions):
    """A season whose basil pauses and whose chives are cut; the bench is both of them."""
    season = make_season(folder, regions=regions)
    season.clock = lambda: datetime.combine(LAST, datetime.min.time(), UTC)
    (season.folder / "diary.csv").write_text(
        f"date,region,event,note\n{POTTED},basil,potted on,\n{POTTED},bench,fed,\n"
    )
    plants = [list(rows_of("basil", 1)), list(rows_of("chives", 2))]
    both = [summed(*pair) for pair in zip(*plants, strict=True)]
    known = [*plants, both] if WHOLE in regions else plants
    season.catalogue.store_daily([row for rows in known for row in rows])
    return season


def summed(one, other):
    areas = (getattr(one, name) + getattr(other, name) for name in AREAS)
    return Daily("bench", one.day, 0.2, 0.19, 0.21, *areas, 5, {})


AREAS = ("area_cm2", "area_low_cm2", "area_high_cm2")


@pytest.fixture
def season(tmp_path):
    season = kept(tmp_path / "bench", WHOLE + REGIONS)
    yield season
    season.catalogue.close()


@pytest.fixture
def without(tmp_path):
    season = kept(tmp_path / "plants", REGIONS)
    yield season
    season.catalogue.close()


def test_it_is_none_of_the_others_that_paused_or_lost(season, without):
    def told(found):
        pauses = [(p.region, p.others_paused, p.others) for p in notice(found).pauses]
        return pauses + [(x.region, x.others_lost, x.others) for x in notice(found).losses]

    plants = [each for each in told(season) if each[0] != "bench"]
    assert plants == told(without) == [("basil", 0, 1), ("chives", 0, 1)]
    assert {each[1:] for each in told(season) if each[0] == "bench"} <= {(0, 0)}


def test_nothing_is_held_against_it(season, without):
    assert list(plants_of(season, by_age=False)) == ["basil", "chives"]
    found, alone = (
        {r.event.region: r for r in responses_of(each)[0]} for each in (season, without)
    )
    assert found["basil"].refusal == alone["basil"].refusal
    assert found["basil"].refusal.startswith("1 other plant with values")
    assert "is the whole picture" in found["bench"].refusal


def test_it_is_no_member_of_a_group(tmp_path):
    grouped = "\n".join(
        text.replace('camera = "bench"', f'camera = "bench"\ngroup = "{group}"')
        for text, group in zip((WHOLE, *REGIONS.split("\n\n")), "AAB", strict=True)
    )
    season = Season(kept(tmp_path / "groups", WHOLE + REGIONS).folder)
    (season.folder / "regions.toml").write_text(grouped)
    assert compare_groups(Season(season.folder), []).groups == {"A": ["basil"], "B": ["chives"]}


def test_a_film_of_the_camera_sums_its_plants_once(season, without):
    def canopy(found):
        return canopy_of(Panel(found, "bench", "Bench", None, FIRST_DAY, {}))

    assert canopy(season) == canopy(without)
    assert len(canopy(season)[0]) == DAYS


def test_it_is_drawn_by_itself_and_gains_and_grows_against_nobody(season):
    add_frame(season, "bench", FIRST_DAY)
    almanac, growths = gather(season), work_out(season).growths
    curves = gathered(almanac, growths)
    (overview,) = overviews(almanac, curves)
    assert [key.name for key in overview.keys] == ["basil", "chives"]
    facts = growth_facts(almanac, curves, growths, notice(season, growths))
    assert {each.title for each in facts["fastest"].ranked} == {"Basil", "Chives"}
    assert "Bench" not in facts["fastest"].gain
    assert [plant.title for plant in facts["plants"]] == ["Bench", "Basil", "Chives"]
    assert [curve.title for curve in facts["apart"]] == ["Bench"]


def test_the_site_adds_plants_up_once_and_still_tells_of_it(season):
    known = season.catalogue.daily()
    add_frame(season, "bench", LAST)
    season.catalogue.store_daily(known)
    build_site(season)
    told = json.loads((season.site / "latest.json").read_text())
    areas = {each["name"]: each["value"] for each in told["regions"]}
    assert told["together"]["plants"] == 2
    assert told["together"]["area_cm2"] == pytest.approx(areas["basil"] + areas["chives"], rel=0.01)
    assert areas["bench"] == pytest.approx(told["together"]["area_cm2"], rel=0.01)
    page = (season.site / "growth" / "index.html").read_text()
    assert "Drawn by itself, since all plants lie in it: Bench." in page
