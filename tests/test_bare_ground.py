"""A region that never surely shows canopy is told in the same words by table, page and plot."""

import html
import re
from datetime import timedelta

import pytest

from lapsekit.besides import line_of
from lapsekit.catalogue import Daily
from lapsekit.growing import bare_days_of, grow
from lapsekit.language.phrases import no_rate_text
from lapsekit.language.words import Words
from lapsekit.reporting import report_growth
from lapsekit.site.build import build_site
from lapsekit.telling_growth import grown
from tests.scenes import FIRST_DAY, make_season
from tests.test_noticing import rows_of

DAYS = 14
SAID = f"no canopy seen for sure on any of its {DAYS} measured days"
#: Areas with their ends in cm²: bare soil, and what may be a leaf or a speck.
BARE, UNSURE, LEAVES = (0.0, 0.0, 0.2), (0.3, 0.0, 0.9), (9.0, 8.5, 9.5)


def seen(folder, *areas):
    """A season whose basil has these areas by day, while chives grow."""
    season = make_season(folder)
    season.catalogue.store_daily(
        [
            Daily("basil", FIRST_DAY + timedelta(n), *(x / 320 for x in area), *area, 5, {})
            for n, area in enumerate(areas)
        ]
    )
    season.catalogue.store_daily(rows_of("chives", 1))
    return season


def words_of(text):
    """What stands on a page or in a drawing, on one line."""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).split())


@pytest.mark.parametrize("area", [BARE, UNSURE])
def test_table_pages_and_plots_say_the_same(tmp_path, area):
    season = seen(tmp_path / "bench", *[area] * DAYS)
    report = report_growth(season)
    lines = grown(report, season)
    (place,) = (n for n, line in enumerate(lines) if SAID in line)
    assert lines[place - 1].lower().startswith("basil") and max(map(len, lines[: place + 1])) <= 80
    assert line_of(season, report.growths["basil"]) == SAID
    build_site(season)
    season.catalogue.close()
    sentence = f"{SAID[0].upper()}{SAID[1:]}"
    pages = [season.site / name / "index.html" for name in ("plant/basil", "growth")]
    drawn = [season.tables / f"{name}.svg" for name in ("growth", "rates")]
    told = [words_of(file.read_text("utf-8")) for file in (*pages, *drawn)]
    assert [text.count(sentence) for text in told[1:]] == [1, 1, 1]
    assert sentence in told[0]
    assert not any("cannot be said" in text or "too few" in text for text in told)
    assert sentence not in words_of((season.site / "plant/chives/index.html").read_text("utf-8"))


def test_a_day_of_leaves_that_are_sure_makes_it_a_plant(tmp_path):
    season = seen(tmp_path / "bench", *[BARE] * (DAYS - 1), LEAVES)
    report = report_growth(season)
    assert grow(season)["basil"].bare_days == 0
    (line,) = (line for line in grown(report, season) if line.lower().startswith("basil"))
    assert line.endswith("no growth rate yet: too few measured days")
    season.catalogue.close()


def test_a_group_is_bare_where_all_of_its_plants_are(tmp_path):
    growths = [
        *grow(seen(tmp_path / "one", *[BARE] * 3)).values(),
        *grow(seen(tmp_path / "two", *[BARE] * 5)).values(),
    ]
    basil, chives, other, _ = growths
    assert bare_days_of([basil, other]) == 5
    assert bare_days_of([basil, chives]) == bare_days_of([]) == 0


def test_it_is_said_of_one_day_and_in_german():
    assert no_rate_text(Words("en"), 1) == "no canopy seen for sure on its only measured day"
    assert no_rate_text(Words("de"), 7).startswith("an keinem von 7 gemessenen Tagen")
    assert no_rate_text(Words("de"), 0).startswith("noch keine Wachstumsrate")
