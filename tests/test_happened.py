"""Only lines of days that have come, and of regions that there are, are told as what happened."""

from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.happened import happened, latest_day
from lapsekit.responding import responses_of
from lapsekit.season import Season
from lapsekit.site.build import build_site
from tests.scenes import make_season
from tests.site.small_season import FIRST, add_day, found

LINES = (
    "date,region,event,note\n"
    "2031-04-02,basil,fed,\n"
    "2031-04-03,bsail,fed,for nobody\n"
    "2031-04-04,,cold,later than frames\n"
    "2031-04-09,basil,cut,not yet done\n"
)


def at(day):
    """A clock that stands still at noon of a day of April 2031."""
    return lambda: datetime(2031, 4, day, 10, tzinfo=UTC)


@pytest.fixture
def bench(tmp_path):
    """A season with frames of 1 to 3 April, and lines before and after."""
    season = found(tmp_path / "bench")
    (season.folder / "diary.csv").write_text(LINES)
    for number in range(3):
        add_day(season, FIRST + timedelta(number))
    yield season
    season.catalogue.close()


def told(season):
    return [event.what for event in happened(season)[0]]


@pytest.mark.parametrize(
    ("today", "what"),
    [(2, ["fed"]), (4, ["fed", "cold"]), (8, ["fed", "cold"]), (9, ["fed", "cold", "cut"])],
)
def test_a_day_is_told_once_it_has_come(bench, today, what):
    bench.clock = at(today)
    assert told(bench) == what


def test_days_of_frames_have_come_whatever_this_machines_clock_says(bench):
    bench.clock = lambda: datetime(2026, 11, 29, tzinfo=UTC)
    assert (told(bench), latest_day(bench)) == (["fed"], FIRST + timedelta(2))


def test_what_is_not_told_is_named_with_its_line_and_what_to_do(bench):
    bench.clock = at(5)
    nobody, to_come = happened(bench)[1]
    assert 'diary.csv: line 3, region = "bsail" is no region of regions.toml' in nobody
    assert 'did you mean "basil"?' in nobody
    assert "diary.csv: line 5, date = 2031-04-09 has not come yet" in to_come
    assert responses_of(bench)[1] == [nobody, to_come]


def test_a_copy_of_the_catalogue_that_is_read_is_not_taken_away(tmp_path, monkeypatch):
    season = make_season(tmp_path / "bench")
    (season.folder / "diary.csv").write_text(LINES)
    season.catalogue.close()
    monkeypatch.setattr("os.access", lambda *_: False)
    read_only = Season(season.folder, clock=at(2))
    with read_only.catalogue_to_read():
        catalogue = read_only.catalogue
        assert told(read_only) == ["fed"]
        assert read_only.catalogue is catalogue


def test_pages_and_files_of_the_site_tell_no_more_and_all_of_it_when_its_day_has_come(bench):
    bench.clock = at(5)
    report = build_site(bench)
    assert _telling(bench, "later than frames") and not _telling(bench, "bsail", "for nobody")
    assert not _telling(bench, "not yet done", "2031-04-09", "20310409")
    assert len([line for line in report.problems if "diary.csv" in line]) == 2
    bench.clock = at(9)
    build_site(bench)
    assert {"diary/index.html", "plant/basil/index.html", "diary.ics"} <= _telling(
        bench, "not yet done"
    )


def _telling(season, *words):
    """Files of the site in which any of these words stands."""
    files = [file for file in season.site.rglob("*") if file.is_file()]
    return {
        str(file.relative_to(season.site))
        for file in files
        if any(word.encode() in file.read_bytes() for word in words)
    }
