"""Local days, capture times through both changes of the clock, plant age."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from lapsekit.when import (
    capture_times,
    days_between,
    from_utc_text,
    instant,
    is_met,
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


def test_capture_times_include_both_ends_and_end_before_a_step_that_does_not_fit():
    eight = datetime(2031, 4, 1, 8, tzinfo=UTC)
    half = timedelta(minutes=30)
    assert capture_times(eight, eight + 2 * half, half) == [eight, eight + half, eight + 2 * half]
    assert capture_times(eight, eight + 1.9 * half, half) == [eight, eight + half]
    assert capture_times(eight, eight, half) == [eight]


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


def test_what_was_due_is_met_by_what_came_then_or_a_little_later():
    due = datetime(2031, 4, 1, 8, 0, 0, 400_000, tzinfo=UTC)
    minute = timedelta(minutes=1)
    for came, met in ((-minute, False), (timedelta(0), True), (minute, True), (3 * minute, False)):
        moment = (due + came).replace(microsecond=0)
        assert is_met(due, [due - 9 * minute, moment, due + 60 * minute], 2 * minute) is met
    assert not is_met(due, [], minute)
