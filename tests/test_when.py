"""Local days, capture times through both changes of the clock, plant age."""

import itertools
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from lapsekit.when import (
    capture_times,
    days_between,
    from_utc_text,
    instant,
    local_day,
    plant_age,
    utc_text,
)

CET = ZoneInfo("CET")
SPRING, AUTUMN = date(2031, 3, 30), date(2031, 10, 26)


def test_a_day_ends_at_the_seasons_midnight():
    assert local_day(datetime(2031, 4, 1, 21, 59, tzinfo=UTC), CET) == date(2031, 4, 1)
    assert local_day(datetime(2031, 4, 1, 22, 0, tzinfo=UTC), CET) == date(2031, 4, 2)


def test_a_time_that_spring_skips_comes_an_hour_later_on_the_clock():
    assert instant(SPRING, time(2, 30), CET) == datetime(2031, 3, 30, 1, 30, tzinfo=UTC)
    assert instant(SPRING, time(2, 30), CET).astimezone(CET).time() == time(3, 30)


def test_of_a_time_that_comes_twice_in_autumn_the_first_is_meant():
    assert instant(AUTUMN, time(2, 30), CET) == datetime(2031, 10, 26, 0, 30, tzinfo=UTC)


def test_captures_keep_their_real_distance_through_both_changes():
    hour = timedelta(hours=1)
    usual, spring, autumn = (
        capture_times(day, time(0), time(6), hour, CET)
        for day in (date(2031, 4, 1), SPRING, AUTUMN)
    )
    assert (len(usual), len(spring), len(autumn)) == (7, 6, 8)
    for moments in (usual, spring, autumn):
        steps = {b - a for a, b in itertools.pairwise(moments)}
        assert steps == {hour}


def test_a_window_in_the_hour_that_spring_skips_still_has_its_capture():
    moments = capture_times(SPRING, time(2, 30), time(3), timedelta(minutes=30), CET)
    assert [m.astimezone(CET).time() for m in moments] == [time(3, 30)]


def test_the_window_includes_both_ends():
    moments = capture_times(date(2031, 4, 1), time(8), time(9), timedelta(minutes=30), CET)
    assert [m.astimezone(CET).time() for m in moments] == [time(8), time(8, 30), time(9)]


def test_plant_age_counts_from_the_sowing_day():
    assert plant_age(date(2031, 4, 1), date(2031, 3, 25)) == 7
    assert plant_age(date(2031, 3, 25), date(2031, 3, 25)) == 0


def test_days_between_includes_both():
    assert list(days_between(date(2031, 2, 27), date(2031, 3, 1))) == [
        date(2031, 2, 27),
        date(2031, 2, 28),
        date(2031, 3, 1),
    ]


def test_utc_text_round_trip():
    moment = datetime(2031, 4, 17, 13, 30, tzinfo=CET)
    assert utc_text(moment) == "2031-04-17T11:30:00Z"
    assert from_utc_text(utc_text(moment)) == moment
