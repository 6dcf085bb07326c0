"""However many frames a season has, a morning looks at what is new: shown by SQLite's own steps."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.checking import standing
from lapsekit.desk.frames import days_waiting, strip
from lapsekit.judging import judge_season, rule, verdicts_waiting
from lapsekit.listing import list_frames
from lapsekit.measuring import measure
from lapsekit.ruler import Ruler
from lapsekit.site.almanac import gather
from lapsekit.unattended.morning import morning
from lapsekit.undone import frames_not_done
from tests.bench.catalogue_scale import fill, season_of
from tests.scenes import encoded, growing_bench

SHORT, LONG = 40, 400
A_DAY = 4
LARGE = {"frame", "screening", "figures", "placement", "measurement", "thinned", "overruled"}
"""Tables with a row a frame."""

SMALL = "screening_with_yes"
"""An index of those frames alone that the grower said yes to."""


@pytest.fixture(scope="module")
def seasons(tmp_path_factory):
    """A history of 40 days and one of 400, each by three cameras, up to the same day."""
    made = {}
    for days in (SHORT, LONG):
        season = season_of(tmp_path_factory.mktemp("scale") / "season", cameras=3)
        fill(season, days, A_DAY)
        made[days] = season
    yield made
    for season in made.values():
        season.catalogue.close()


def steps(season, ask):
    """Steps that SQLite takes for what is asked: the same whoever else uses the machine."""
    taken = [0]

    def count():
        taken[0] += 1

    season.catalogue._db.set_progress_handler(count, 1)
    try:
        ask()
    finally:
        season.catalogue._db.set_progress_handler(None, 0)
    return taken[0]


def newest_days(season, days=14):
    return season.catalogue.last_day("bench00") - timedelta(days=days)


FLAT = {
    "a day's frames": lambda s: s.catalogue.frames("bench00", s.catalogue.last_day("bench00")),
    "a day's verdicts": lambda s: s.catalogue.screenings("bench00", newest_days(s, 1)),
    "verdicts that wait": verdicts_waiting,
    "judging with nothing new": judge_season,
    "sizes of pictures": lambda s: s.catalogue.picture_sizes("bench00"),
    "what a fortnight's frames gave": lambda s: s.catalogue.measurements(
        camera="bench00", since=newest_days(s)
    ),
    "where frames of the last days lie": lambda s: s.catalogue.placements(
        "bench00", newest_days(s)
    ),
    "where the last ones lie": lambda s: s.catalogue.last_placed("bench00", 3),
    "a view's witnesses": lambda s: s.catalogue.first_of_days_after(
        "bench00", newest_days(s, 30), 3
    ),
    "keeping the same regions": lambda s: s.catalogue.keep_regions(
        {r.name: r.camera for r in s.regions.region}
    ),
    "figures of other settings": lambda s: s.catalogue.keep_thinned_figures(
        "bench00", Ruler(s).figures_mark("bench00")
    ),
    "the hourly look": lambda s: standing(s, lambda _: None),
    "a page of frames left out": lambda s: s.catalogue.page_of_left_out("bench00", [], 5, 0),
    "days to be worked out again": days_waiting,
    "a month at the desk": lambda s: strip(s, "bench00", s.catalogue.last_day("bench00")),
    "a picture of yesterday": lambda s: s.last_daily_picture("bench00", newest_days(s, 1)),
    "a frame by its name": lambda s: s.catalogue.named(["20301215T063000Z.jpg"]),
    "a frame of the same content": lambda s: s.catalogue.has_content("bench00", "none"),
    "cameras": lambda s: s.catalogue.cameras(),
    "the first and last frame": lambda s: s.catalogue.span(),
    "bytes of a week": lambda s: s.catalogue.bytes_between(
        *(datetime(2030, 12, day, tzinfo=UTC) for day in (20, 27))
    ),
}


@pytest.mark.parametrize("what", FLAT)
def test_ten_times_the_history_costs_no_more(seasons, what):
    short, long = (steps(seasons[days], lambda s=seasons[days]: FLAT[what](s)) for days in seasons)
    # By day there is a row or two to step over; by frame there would be twelve a day.
    assert long <= 1.15 * short + LONG, f"{what}: {short} and {long} steps"


def test_the_count_of_steps_would_see_a_whole_table_read(seasons):
    short, long = (
        steps(season, lambda s=season: s.catalogue.frames("bench00")) for season in seasons.values()
    )
    assert long > 5 * short


BY_DAY = {
    "frames that wait": lambda s: frames_not_done(Ruler(s)),
    "all that a site is made of": gather,
    "lapsekit frames": lambda s: list_frames(s, most=20),
    "a camera's days": lambda s: s.catalogue.days_of_camera("bench00"),
    "a camera's daily pictures": lambda s: s.pictures_of("bench00"),
}


@pytest.fixture(scope="module")
def often(tmp_path_factory):
    """The same 40 days with four times as many frames a day."""
    season = season_of(tmp_path_factory.mktemp("often") / "season", cameras=3)
    fill(season, SHORT, 4 * A_DAY)
    yield season
    season.catalogue.close()


@pytest.mark.parametrize("what", BY_DAY)
def test_what_tells_of_every_day_costs_by_the_day_and_not_by_the_frame(seasons, often, what):
    both = seasons[SHORT], often
    few, many = (steps(season, lambda s=season: BY_DAY[what](s)) for season in both)
    assert many < 1.5 * few


def test_noting_one_frame_costs_the_same_in_a_long_history(seasons):
    def note(season):
        frame = season.catalogue.latest("bench00", 1)[0]
        path = frame.path.replace(".jpg", "-2.jpg")
        season.catalogue.add_frames([replace(frame, path=path)])
        season.catalogue.remove_frames([path])

    short, long = (steps(season, lambda s=season: note(s)) for season in seasons.values())
    assert long <= 1.15 * short


@pytest.fixture
def told(filled):
    """A season measured once and a frame more, with the statements that are put to its catalogue.

    The catalogue is asked how it would answer each: what it says names the tables it reads whole.
    """
    measure(filled, workers=1)
    filled.archive.store(
        "bench", datetime(2031, 4, 6, 9, tzinfo=UTC), encoded(growing_bench(16)), ".png"
    )
    said = []
    filled.catalogue._db.set_trace_callback(said.append)
    yield filled, said
    filled.catalogue._db.set_trace_callback(None)


def scanned(season, statements):
    """Large tables that a statement reads whole, with that statement."""
    db, found = season.catalogue._db, set()
    db.set_trace_callback(None)
    for statement in dict.fromkeys(statements):
        if not re.match(r"\s*(SELECT|WITH|UPDATE|DELETE|INSERT)", statement):
            continue
        for *_, plan in db.execute(f"EXPLAIN QUERY PLAN {statement}").fetchall():
            match = re.match(r"SCAN (\w+)", plan)
            if match and match[1] in LARGE and SMALL not in plan:
                found.add((match[1], " ".join(statement.split())[:200]))
    return found


def test_no_statement_of_a_morning_reads_a_table_of_frames_whole(told):
    season, said = told
    morning(season, workers=1)
    standing(season, lambda _: None)
    assert len(said) > 50
    assert scanned(season, said) == set()


def test_nor_does_the_grower_s_word_or_a_list(told):
    season, said = told
    frame = season.catalogue.latest("bench", 1)[0]
    rule(season, [frame.path.rpartition("/")[2]], False)
    judge_season(season)
    list_frames(season, left_out=True, most=10)
    days_waiting(season)
    assert scanned(season, said) == set()


def test_the_plan_would_name_a_table_that_is_read_whole(told):
    season, _ = told
    assert scanned(season, ["SELECT path FROM frame WHERE size > 7"])
