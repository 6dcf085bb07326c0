"""Times by the sun: known places and days, weeks without sunset or sunrise, both changes."""

import itertools
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from lapsekit.daylight import daily_moment, due_times, light, moment, solar_noon, window
from lapsekit.settings import CaptureTable, PlaceTable, SunTime
from lapsekit.when import days_between

CET, UTC_ZONE = ZoneInfo("CET"), ZoneInfo("UTC")
LOWLAND, ARCTIC = PlaceTable(latitude=52, longitude=13), PlaceTable(latitude=69, longitude=19)
SPRING, AUTUMN = date(2031, 3, 30), date(2031, 10, 26)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def table(**more):
    return CaptureTable.model_validate({"from": "sunrise", "until": "sunset"} | more)


def by_clock(first, last, every=60):
    return CaptureTable.model_validate(
        {"from": first, "until": last, "every_minutes": every, "daily_at": first}
    )


def test_at_the_equinox_the_day_is_as_long_as_everywhere():
    """Twelve hours, and what refraction and the sun's radius add (Meeus): 6.6 min at 0 degrees."""
    for latitude, more in ((0, 6.6), (52, 10.9)):
        lit = light(date(2031, 3, 20), UTC_ZONE, PlaceTable(latitude=latitude, longitude=0))
        assert abs((lit.last - lit.first) - 12 * HOUR - more * MINUTE) < 3 * MINUTE


def test_the_longest_and_shortest_day_at_52_degrees_are_as_almanacs_say():
    """16 h 45 min and 7 h 41 min, from rise to set."""
    for day, hours in ((date(2031, 6, 21), 16.75), (date(2031, 12, 22), 7.68)):
        lit = light(day, CET, LOWLAND)
        assert abs((lit.last - lit.first) / HOUR - hours) < 0.1


def test_solar_noon_lies_on_its_own_local_day_everywhere_and_takes_fifteen_degrees_an_hour():
    for longitude in range(-180, 181, 15):
        place = PlaceTable(latitude=10, longitude=longitude)
        zone = ZoneInfo(f"Etc/GMT{-longitude // 15:+d}" if abs(longitude) < 180 else "Etc/GMT-12")
        for day in (date(2031, 1, 1), date(2031, 4, 15), date(2031, 12, 31)):
            at = solar_noon(day, zone, place).astimezone(zone)
            assert at.date() == day
            if abs(longitude) < 180:
                assert abs(at - datetime.combine(day, time(12), zone)) < 17 * MINUTE


def test_where_the_sun_does_not_set_it_is_light_all_day_and_where_it_does_not_rise_never():
    midsummer, midwinter = date(2031, 6, 15), date(2031, 12, 15)
    assert (lit := light(midsummer, CET, ARCTIC)).last - lit.first == 24 * HOUR
    assert light(midwinter, CET, ARCTIC) is None
    assert window(midwinter, table(), CET, ARCTIC) is None
    assert due_times(midwinter, table(), CET, ARCTIC) == [
        daily_moment(midwinter, table(), CET, ARCTIC)
    ]


def test_a_daily_picture_is_due_every_day_of_the_arctic_year():
    plan = table(daily_at="sunrise + 1:00")
    for day in days_between(date(2031, 1, 1), date(2031, 12, 31)):
        at = daily_moment(day, plan, CET, ARCTIC)
        lit = light(day, CET, ARCTIC)
        assert at == (solar_noon(day, CET, ARCTIC) if lit is None else lit.first + HOUR)


def test_frames_of_the_midnight_sun_are_due_once_and_never_far_apart():
    plan = table(every_minutes=30)
    due = [
        at
        for day in days_between(date(2031, 6, 1), date(2031, 6, 10))
        for at in due_times(day, plan, CET, ARCTIC)
    ]
    gaps = [b - a for a, b in itertools.pairwise(sorted(due))]
    assert max(gaps) <= 30 * MINUTE


def test_offsets_move_the_ends_and_may_leave_nothing():
    lit = light(SPRING, CET, LOWLAND)
    late = moment(SPRING, SunTime("sunrise", 90), CET, LOWLAND)
    assert late == lit.first + 90 * MINUTE
    narrow = CaptureTable.model_validate({"from": "noon + 1:00", "until": "noon - 1:00"})
    assert window(SPRING, narrow, CET, LOWLAND) is None


def test_captures_keep_their_real_distance_through_both_changes():
    days = (date(2031, 4, 1), SPRING, AUTUMN)
    usual, spring, autumn = (due_times(day, by_clock("00:00", "06:00"), CET, None) for day in days)
    assert (len(usual), len(spring), len(autumn)) == (7, 6, 8)
    for moments in (usual, spring, autumn):
        assert {b - a for a, b in itertools.pairwise(moments)} == {HOUR}


def test_a_window_in_the_hour_that_spring_skips_still_has_its_capture():
    moments = due_times(SPRING, by_clock("02:30", "03:00", 30), CET, None)
    assert [m.astimezone(CET).time() for m in moments] == [time(3, 30)]


def test_more_frames_are_due_on_chosen_days():
    plan = table(
        every_minutes=60,
        more_often=[{"from": "2031-05-02", "until": "2031-05-03", "every_minutes": 10}],
    )
    counts = [len(due_times(date(2031, 5, day), plan, CET, LOWLAND)) for day in (1, 2, 3, 4)]
    assert counts[1] > 5 * counts[0] and counts[2] > 5 * counts[3]


@pytest.mark.parametrize("value", ["sunup", "sunset + 1", "noon + 1:75", 7])
def test_a_time_that_is_none_is_refused_with_how_to_write_one(value):
    with pytest.raises(ValueError, match=r'by the sun: "sunrise"'):
        table(daily_at=value)


def test_the_sun_is_the_same_in_any_zone():
    at = solar_noon(SPRING, CET, LOWLAND)
    assert at == solar_noon(SPRING, UTC_ZONE, LOWLAND)
    assert at.tzinfo is not None and at.utcoffset() == timedelta(0) and at.tzinfo == UTC
