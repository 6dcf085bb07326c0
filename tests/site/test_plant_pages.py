"""Each plant's page: what it covers, how fast it grows, whom it meets; where it lies."""

from datetime import timedelta
from math import log
from types import SimpleNamespace

import pytest

from lapsekit.catalogue import Daily
from lapsekit.language.words import Words
from lapsekit.reporting import work_out
from lapsekit.settings import Region
from lapsekit.site.build import build_site
from lapsekit.site.plant_names import page_names, page_path
from lapsekit.site.ranking import rate_of, rate_text
from tests.scenes import FIRST_DAY, make_season
from tests.site.made_season import Kind, made
from tests.site.small_season import FIRST

RATE, NOISE = 0.1, 0.02


def region(name, group=None):
    return Region(name=name, camera="bench", group=group, outline=[{"from": FIRST_DAY}])


def text_of(season, name):
    return (season.site / page_path(name)).read_text(encoding="utf-8")


def test_a_groups_name_becomes_a_safe_one_that_no_plant_can_have():
    row = region("x", "Tray A / <b>ü</b>").model_copy(update={"name": "Tray A of bench"})
    assert page_names([row], [region("group-tray-a")]) == {
        "Tray A of bench": "group_tray-a-b-u-b",
        "group-tray-a": "group-tray-a",
    }


@pytest.mark.parametrize("groups", [("Tray A", "tray a"), ("лоток", "ящик"), ("Tray A", "Tray A")])
def test_groups_that_would_share_a_name_are_told_apart(groups):
    rows = [
        region("x", group).model_copy(update={"name": f"{group} of {camera}"})
        for group, camera in zip(groups, ("bench", "trough"), strict=True)
    ]
    names = list(page_names(rows, []).values())
    assert len(set(names)) == 2 and all(n.startswith("group_") for n in names)
    assert all(set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789_-") for name in names)


@pytest.fixture
def steady(tmp_path):
    """Basil that grows by a tenth a day; chives meet it from the twentieth day on."""
    import numpy as np

    season = make_season(tmp_path / "bench")
    noise = np.random.default_rng(5).normal(0, NOISE, (2, 30))
    for place, name in enumerate(("basil", "chives")):
        other = "chives" if name == "basil" else "basil"
        rows = []
        for number in range(30):
            area = float(
                10 * np.exp((RATE if name == "basil" else 0) * number + noise[place][number])
            )
            half = 1.96 * NOISE * area
            near = (other,) if number >= 20 else ()
            values = (0.1, 0.09, 0.11, area, area - half, area + half)
            day = FIRST_DAY + timedelta(number)
            rows.append(Daily(name, day, *values, 5, {}, touches=near))
        season.catalogue.store_daily(rows)
    yield season
    season.catalogue.close()


def rate_said(growth):
    name, days = growth.region.name, {d.day: () for d in growth.daily}
    curve = SimpleNamespace(name=name, title=name, mean_of=0, values=days)
    return rate_text(Words("en"), rate_of(curve, [curve], {name: growth}), 0)


def test_the_rate_holds_the_true_one_and_the_doubling_time_follows_from_it(steady):
    growth = work_out(steady).growths["basil"]
    day = int(growth.curve.days[-1])
    low, high = growth.on(day, "rgr_low"), growth.on(day, "rgr_high")
    assert low <= RATE <= high
    told = rate_said(growth)
    said = Words("en").number
    assert f"({said(100 * low, 1)} to {said(100 * high, int(high < 0.0995))})" in told
    assert f"({said(log(2) / high, 1)} to {said(log(2) / low, 1)})" in told


def test_a_plant_that_stands_still_doubles_at_no_time(steady):
    told = rate_said(work_out(steady).growths["chives"])
    assert told.endswith("; not shown to grow.") and "doubles" not in told


def test_without_days_nothing_is_said_of_growth():
    assert rate_text(Words("en"), None, 0).startswith("No growth rate yet")


def test_neighbours_are_told_since_when(steady):
    build_site(steady)
    page = text_of(steady, "basil").split('id="neighbours"')[1].split("</ul>")[0]
    met = FIRST_DAY + timedelta(20)
    assert f"since {met.day} {met:%b}, on 10 days, still now" in " ".join(page.split())
    assert 'href="../../plant/chives/index.html"' in page


def test_every_plant_and_every_folded_group_has_a_page_and_they_are_walked(tmp_path):
    season = made(tmp_path / "season", 12, Kind(width=320))
    build_site(season)
    season.catalogue.close()
    seen, name = [], "basil"
    while name:
        seen.append(name)
        parts = text_of(season, name).split('rel="next" href="../../plant/')
        name = parts[1].split("/")[0] if len(parts) > 1 else ""
    assert seen.index("group_cut-leaves") + 1 == seen.index(season.regions.region[4].name)
    assert sorted(seen) == sorted(p.name for p in (season.site / "plant").iterdir())
    assert len(seen) == 8 + 1
    page = text_of(season, "group_cut-leaves")
    assert "covers" in page and "from the smallest to the largest" in page


def test_crops_lead_to_their_days_and_tell_age_and_area(tmp_path):
    season = made(tmp_path / "season", 12, Kind(regions=2, width=320))
    assert build_site(season).problems == []
    crops = text_of(season, "basil").split('<ol class="crops">')[1].split("</ol>")[0]
    assert crops.count("<img") == 3, "the first day, a week later, the latest"
    rows = {d.day: d for d in work_out(season).growths["basil"].daily}
    season.catalogue.close()
    for day in (FIRST, FIRST + timedelta(7), FIRST + timedelta(11)):
        crop = crops.split(f'href="../../day/{day}/')[1].split("</li>")[0]
        area = rows[day].area_cm2
        said = Words("en").number(area, 1 if area < 9.95 else 0)
        assert (
            f"day {(day - season.settings.season.sown).days}" in crop
            and f">{said}\u00a0cm²<" in crop
        )


def test_an_entry_of_the_year_before_sowing_bears_its_year(tiny):
    year, diary = tiny.settings.season.sown.year, tiny.folder / "diary.csv"
    diary.write_text(f"date,region,event,note\n{year - 1}-12-24,basil,soil mixed,\n")
    build_site(tiny)
    assert f">24 Dec {year - 1}</a>" in text_of(tiny, "basil")


def test_hostile_titles_stay_text(tiny):
    build_site(tiny)
    page = text_of(tiny, "basil")
    assert "<img src=x" not in page and "Basil &lt;img src=x onerror=alert(2)&gt;" in page
