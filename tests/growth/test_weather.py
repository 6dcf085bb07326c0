"""Days whose weather is known give their extremes, degree days, dryness, light and cold."""

from datetime import UTC, date, datetime, timedelta
from math import pi, sin
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from lapsekit.growth.degree_days import degree_days_average, degree_days_sine
from lapsekit.growth.weather import (
    CAUTIONS,
    CHILL,
    FROST,
    NEAR_FROST,
    Reading,
    WeatherDay,
    cold_flags,
    daily_light_mol,
    daily_weather,
    summed_degree_days,
    vapour_pressure_deficit_kpa,
)

ZONE = ZoneInfo("CET")
MIDNIGHT = datetime(2031, 4, 16, 22, tzinfo=UTC)  # 17 April begins in summer time


def hourly(values, start=MIDNIGHT, **more):
    return [
        Reading(start + timedelta(hours=n), t, **{k: v[n] for k, v in more.items()})
        for n, t in enumerate(values)
    ]


def day(min_c, max_c):
    return WeatherDay(date(2031, 4, 17), 24, min_c, max_c, None, None, None)


def test_extremes_and_mean_belong_to_the_local_day():
    """10 °C all day, but 2 °C at its first local hour and 25 °C just before the next midnight."""
    values = [10.0] * 48
    values[0], values[23], values[25] = 2.0, 25.0, -9.0
    first, second = daily_weather(hourly(values), ZONE)[:2]
    assert (first.day, first.readings) == (date(2031, 4, 17), 24)
    assert (first.min_c, first.max_c) == (2.0, 25.0)
    assert first.mean_c == pytest.approx(10 + (-8 * 0.5 + 15) / 24, abs=0.01)
    assert second.min_c == -9.0


def test_a_value_between_two_readings_astride_midnight_counts_for_both_days():
    first, second = daily_weather(hourly([4.0, *[10.0] * 23, 2.0, *[10.0] * 23]), ZONE)
    assert first.min_c == 2.0  # the line from 10 at 23:00 reaches 2 at 24:00
    assert second.min_c == 2.0


def test_a_day_with_a_hole_of_more_than_three_hours_has_no_extremes():
    readings = hourly([float(n) for n in range(24)])
    holed = [r for n, r in enumerate(readings) if n not in (4, 5, 6)]
    assert daily_weather(readings, ZONE)[0].min_c == 0.0
    assert daily_weather([r for n, r in enumerate(readings) if n not in (4, 5)], ZONE)[0].max_c
    found = daily_weather(holed, ZONE)[0]
    assert (found.min_c, found.mean_c, found.readings) == (None, None, 21)


def test_a_day_without_any_reading_is_a_gap_between_its_neighbours():
    readings = hourly([10.0] * 24) + hourly([12.0] * 24, MIDNIGHT + timedelta(days=2))
    found = daily_weather(readings, ZONE)
    assert [d.min_c for d in found] == [10.0, None, 12.0]
    assert daily_weather([], ZONE) == []


@pytest.mark.parametrize(("start", "hours"), [((2031, 3, 29, 23), 23), ((2031, 10, 25, 22), 25)])
def test_days_of_a_clock_change_have_their_own_length(start, hours):
    lamps = {"light": [100.0] * 50}
    found = daily_weather(hourly([10.0] * 50, datetime(*start, tzinfo=UTC), **lamps), ZONE)[0]
    assert found.readings == hours
    assert found.light_mol == pytest.approx(100 * 3600 * hours / 1e6)


def test_light_of_a_clear_day_is_its_integral():
    """A half sine of 1500 µmol over 12 hours holds 1500 · 12 h · 3600 · 2/π."""
    steps = [max(0.0, 1500 * sin(pi * (n / 6 - 6) / 12)) for n in range(144)]
    readings = [
        Reading(MIDNIGHT + timedelta(minutes=10 * n), 10, None, p) for n, p in enumerate(steps)
    ]
    assert daily_weather(readings, ZONE)[0].light_mol == pytest.approx(
        1500 * 12 * 3600 * 2 / pi / 1e6, rel=1e-3
    )
    assert daily_light_mol(200, 16) == pytest.approx(11.52)


def test_dryness_follows_the_printed_tables():
    """FAO paper 56, table 2.3: es is 2.338 kPa at 20 °C and 4.243 at 30 °C."""
    assert vapour_pressure_deficit_kpa(20, 0) == pytest.approx(2.338, abs=0.001)
    assert vapour_pressure_deficit_kpa(30, 50) == pytest.approx(4.243 / 2, abs=0.001)
    assert vapour_pressure_deficit_kpa(25, 100) == 0
    with pytest.raises(ValueError, match="140"):
        vapour_pressure_deficit_kpa(20, 140)


def test_a_days_dryness_is_the_mean_of_its_hours_not_that_of_mean_air():
    temps, humid = [10.0] * 12 + [30.0] * 12, [90.0] * 12 + [40.0] * 12
    found = daily_weather(hourly(temps, humidity=humid), ZONE)[0].vpd_kpa
    halves = [vapour_pressure_deficit_kpa(*pair) for pair in ((10, 90), (30, 40))]
    assert found == pytest.approx(sum(halves) / 2, rel=0.05)
    assert found > 1.1 * vapour_pressure_deficit_kpa(20, 65)
    assert daily_weather(hourly(temps), ZONE)[0].vpd_kpa is None


@pytest.mark.parametrize(
    ("extremes", "limits", "expected"),
    [
        ((10, 20), (5,), 10.0),
        ((2, 12), (10,), 0.0),
        ((10, 36), (10, 30), 10.0),
        ((-4, 3), (4,), 0.0),
        ((32, 36), (10, 30), 20.0),
    ],
)
def test_degree_days_by_average(extremes, limits, expected):
    assert degree_days_average(*extremes, *limits) == pytest.approx(expected)


@pytest.mark.parametrize("base", [-5.0, 4.0, 9.0, 15.0])
@pytest.mark.parametrize("cap", [None, 18.0, 30.0])
def test_degree_days_by_sine_are_the_area_under_the_sine(base, cap):
    """Against the mean over 100,000 moments of a day between 4 and 20 °C."""
    curve = 12 + 8 * np.cos(2 * pi * (np.arange(100_000) + 0.5) / 100_000)
    true = np.clip(curve, None, cap).clip(base) - base
    assert degree_days_sine(4, 20, base, cap) == pytest.approx(true.mean(), abs=1e-6)


def test_a_cool_day_with_a_warm_noon_counts_by_sine_and_not_by_average():
    assert degree_days_average(2, 14, 10) == 0
    assert degree_days_sine(2, 14, 10) > 0.5


def test_degree_days_add_up_until_a_day_is_missing():
    days = [day(10, 20), day(12, 22), day(None, None), day(10, 20)]
    assert summed_degree_days(days, 5) == [10, 22, None, None]
    assert summed_degree_days(days[:2], 5, sine=True) == pytest.approx([10, 22])


@pytest.mark.parametrize(
    ("low", "chill", "flags"),
    [
        (-0.1, 12, (FROST, CHILL)),
        (0.0, None, (FROST,)),
        (2.5, 12, (NEAR_FROST, CHILL)),
        (11, 12, (CHILL,)),
        (11, 5, ()),
        (None, 12, ()),
    ],
)
def test_cold_days_are_flagged_and_each_flag_has_its_caution(low, chill, flags):
    assert cold_flags(day(low, 20), chill) == flags
    assert set(flags) <= CAUTIONS.keys()


@pytest.mark.parametrize("wrong", [(20, 10, 5, None), (10, 20, 10, 10), (float("nan"), 9, 5, None)])
def test_degrees_that_cannot_be_are_refused(wrong):
    for by in (degree_days_average, degree_days_sine):
        with pytest.raises(ValueError, match=r"cannot be|must lie above"):
            by(*wrong)
