"""The bench of mornings, on ten days: what a build of the site writes on a new day."""

import re

import pytest

from tests.bench.site_growth import costs, told
from tests.site.made_season import FIRST, Kind


@pytest.fixture(scope="module")
def ten(tmp_path_factory):
    """Ten days and the three mornings after."""
    return costs(tmp_path_factory.mktemp("ten") / "season", 10, Kind(regions=2, width=160))


def test_an_unchanged_build_writes_and_removes_nothing(ten):
    assert len(ten.whole.written) > 10
    assert (ten.unchanged.written, ten.unchanged.removed) == ([], 0)
    assert ten.unchanged.unchanged == len(ten.whole.written)


def test_a_morning_writes_the_pages_of_its_day_and_of_those_that_point_to_it(ten):
    days = {
        path.split("/")[1]
        for path in ten.mornings[0].written
        if re.fullmatch(r"day/\d{4}-\d\d-\d\d/index\.html", path)
    }
    new, before, week_before = (str(FIRST.replace(day=n)) for n in (11, 10, 4))
    assert days == {new, before, week_before}


def test_a_morning_writes_pictures_of_its_day_and_the_strip_of_its_month_alone(ten):
    pictures = [path for path in ten.mornings[0].written if path.startswith("pictures/")]
    assert pictures
    assert all(re.search(r"/2031-04-11-|/ribbon-bench-2031-04-", path) for path in pictures)


def test_the_table_tells_both_seasons_and_what_was_written(ten):
    text = told(ten, ten)
    assert "10 days, whole" in text and "1.00 times as much" in text
    assert "\n  day/2031-04-13/index.html\n" in text
