"""A plant that died or was taken ends: no value after it, no alarm, and its page says so."""

from datetime import timedelta

import pytest

from lapsekit.edits.regions_text import end_region
from lapsekit.errors import SettingsError
from lapsekit.explaining import explain
from lapsekit.measuring import frames_waiting, measure
from lapsekit.season import Season
from lapsekit.settings import load_regions
from lapsekit.site.build import build_site
from tests.scenes import FIRST_DAY, fill, make_season, tables

LAST = FIRST_DAY + timedelta(2)


def ended(season, day, how=None):
    path = season.folder / "regions.toml"
    path.write_text(end_region(path.read_text(), "basil", day, how))
    season.catalogue.close()
    return Season(season.folder)


def areas(season, region):
    return {row.day: row.area_cm2 for row in season.catalogue.daily(region)}


@pytest.fixture
def bench(tmp_path):
    season = make_season(tmp_path / "bench")
    fill(season, days=5)
    measure(season)
    yield season
    season.catalogue.close()


def test_an_ended_plant_has_its_values_until_then_and_none_after(bench):
    before, known = tables(bench), {name: areas(bench, name) for name in ("basil", "chives")}
    season = ended(bench, LAST, "eaten by slugs")
    assert frames_waiting(season) > 0
    measure(season)
    assert areas(season, "basil") == {d: v for d, v in known["basil"].items() if d <= LAST}
    assert areas(season, "chives") == pytest.approx(known["chives"], rel=0.02)
    rows = season.catalogue.measurements("basil")
    assert {frame.day for frame, _ in rows} == {d for d in known["basil"] if d <= LAST}
    with pytest.raises(SettingsError, match=f"ended on {LAST}"):
        explain(season, "basil", LAST + timedelta(1), None)
    alive = ended(season, None)
    measure(alive)
    assert tables(alive) == before
    alive.catalogue.close()


def test_the_page_of_an_ended_plant_says_when_and_how_and_later_days_leave_it_out(bench):
    season = ended(bench, LAST, "eaten by slugs")
    measure(season)
    build_site(season)
    page = " ".join((season.site / "plant" / "basil" / "index.html").read_text().split())
    assert "It was measured until Thursday, 3 April 2031: eaten by slugs." in page
    chives = (season.site / "plant" / "chives" / "index.html").read_text()
    assert "It was measured until" not in chives
    for day, there in ((LAST, True), (LAST + timedelta(1), False)):
        told = (season.site / "day" / f"{day}" / "index.html").read_text()
        body = told.split("<main")[1].split("</main")[0]
        assert ("Basil" in body) == there and "Chives" in body


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("until = 2031-03-01", "before its first outline"),
        ('ended = "harvested"', "give until"),
        ('until = "soon"', "until"),
    ],
)
def test_an_end_that_cannot_be_is_refused(bench, lines, said):
    path = bench.folder / "regions.toml"
    path.write_text(path.read_text().replace('name = "basil"', f'name = "basil"\n{lines}'))
    with pytest.raises(SettingsError, match=said):
        load_regions(path, bench.settings)
