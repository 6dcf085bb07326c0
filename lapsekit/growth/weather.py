"""What a logger's readings say of days: extremes, degree days, dryness of the air, light, cold.

Times are timezone-aware; a *day* is a local calendar day. What a day's readings do not cover is
None: a minimum missed at dawn would make the night too warm.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from math import exp
from zoneinfo import ZoneInfo

from lapsekit.growth.degree_days import degree_days_average, degree_days_sine
from lapsekit.when import days_between, instant, local_day

#: Longest time without a reading that a day's extremes and sums may rest on.
MAX_GAP = timedelta(hours=3)
#: Air at or below it freezes plants; air at or below the second may, under a clear sky.
FROST_C, NEAR_FROST_C = 0.0, 3.0

FROST, NEAR_FROST, CHILL = "frost", "near frost", "chill"
CAUTIONS = {
    FROST: "frost at the sensor; tender plants may be lost within hours, watch for glassy leaves "
    "for two days before judging them",
    NEAR_FROST: "close to frost; under a clear sky leaves are some degrees colder than the air, so "
    "that they may have frozen although the sensor did not",
    CHILL: "colder than this plant likes; growth may pause for days, and harm may show only later",
}


@dataclass(frozen=True)
class Reading:
    """What a logger told at one moment; None where it told nothing.

    `temp_c` in °C, `humidity` relative in percent, `light` as photosynthetic photon flux density
    (PPFD) in µmol per m² and second.
    """

    at: datetime
    temp_c: float | None
    humidity: float | None = None
    light: float | None = None


@dataclass(frozen=True)
class WeatherDay:
    """One local day.

    Attributes
    ----------
    day : date
    readings : int
        Readings of the day.
    min_c, max_c, mean_c : float or None
        Temperatures, °C; None where the readings leave more than `MAX_GAP` open.
    vpd_kpa : float or None
        Mean vapour pressure deficit.
    light_mol : float or None
        Daily light integral, mol per m².
    """

    day: date
    readings: int
    min_c: float | None
    max_c: float | None
    mean_c: float | None
    vpd_kpa: float | None
    light_mol: float | None


def daily_weather(readings: Sequence[Reading], zone: ZoneInfo) -> list[WeatherDay]:
    """Every local day from the first reading to the last; a day without readings is a gap.

    Parameters
    ----------
    readings : sequence of Reading
        In order of time, one a moment.
    zone : zoneinfo.ZoneInfo
        The season's; its midnight ends a day, so that days of a clock change have 23 or 25 hours.

    Returns
    -------
    list of WeatherDay
    """
    if not readings:
        return []
    by_day: dict[date, list[Reading]] = {}
    for reading in readings:
        by_day.setdefault(local_day(reading.at, zone), []).append(reading)
    temps = [(r.at, r.temp_c) for r in readings if r.temp_c is not None]
    dryness = [
        (r.at, vapour_pressure_deficit_kpa(r.temp_c, r.humidity))
        for r in readings
        if r.temp_c is not None and r.humidity is not None
    ]
    light = [(r.at, r.light) for r in readings if r.light is not None]
    days = list(days_between(min(by_day), max(by_day)))
    parts = zip(
        days,
        *(_by_day(series, days, zone) for series in (temps, dryness, light)),
        strict=True,
    )
    return [_weather_day(day, len(by_day.get(day, ())), *curves) for day, *curves in parts]


Curve = list[tuple[datetime, float]]


def _weather_day(
    day: date, count: int, temps: Curve | None, dryness: Curve | None, light: Curve | None
) -> WeatherDay:
    degrees = [value for _, value in temps or ()]
    return WeatherDay(
        day,
        count,
        min(degrees, default=None),
        max(degrees, default=None),
        _integral(temps) / _seconds(temps) if temps else None,
        _integral(dryness) / _seconds(dryness) if dryness else None,
        _integral(light) / 1e6 if light else None,
    )


def _by_day(series: Curve, days: Sequence[date], zone: ZoneInfo) -> Iterator[Curve | None]:
    """The series cut at midnights, values there on a straight line; None for a day with a gap."""
    first = 0
    for day in days:
        start, end = (instant(d, time(0), zone) for d in (day, day + timedelta(days=1)))
        while first < len(series) and series[first][0] < start:
            first += 1
        last = first
        while last < len(series) and series[last][0] < end:
            last += 1
        around = series[max(first - 1, 0) : last + 1]
        yield _cut(around, start, end)


def _cut(around: Curve, start: datetime, end: datetime) -> Curve | None:
    """The piece between two moments, its ends held where no reading lies near beyond them.

    A logger that starts at half past midnight has told enough of the day.
    """
    inside = [(at, value) for at, value in around if start <= at < end]
    if not inside:
        return None
    (first, first_value), (last, last_value) = inside[0], inside[-1]
    before = around[0] if around[0][0] < start else None
    after = around[-1] if around[-1][0] >= end else None
    if before is None or first - before[0] > MAX_GAP:
        before = (start, first_value)
    if after is None or after[0] - last > MAX_GAP:
        after = (end, last_value)
    whole = [*([before] if first > start else []), *inside, after]
    if any(b - a > MAX_GAP for (a, _), (b, _) in pairwise(whole)):
        return None
    later = [reading for reading in inside if reading[0] > start]
    return [(start, _between(whole, start)), *later, (end, _between(whole, end))]


def _between(curve: Curve, at: datetime) -> float:
    for (a, low), (b, high) in pairwise(curve):
        if a <= at <= b:
            return low + (high - low) * ((at - a) / (b - a))
    raise ValueError(f"{at} lies outside the readings")


def _integral(curve: Curve) -> float:
    """By trapezia, in the value's unit times seconds."""
    return sum((x + y) / 2 * (b - a).total_seconds() for (a, x), (b, y) in pairwise(curve))


def _seconds(curve: Curve) -> float:
    return (curve[-1][0] - curve[0][0]).total_seconds()


def vapour_pressure_deficit_kpa(temp_c: float, humidity: float) -> float:
    """How far the air is from saturation, in kPa.

    es = 0.6108 exp(17.27 T / (T + 237.3)) (Allen et al. 1998, FAO Irrigation and Drainage Paper
    56, equation 11).

    Parameters
    ----------
    temp_c : float
        °C, above -237.3.
    humidity : float
        Relative, in percent, 0 to 100.

    Raises
    ------
    ValueError
        If either lies outside its range.
    """
    if not 0 <= humidity <= 100:
        raise ValueError(f"a relative humidity of {humidity:g} % cannot be; give 0 to 100")
    if not temp_c > -237.3:
        raise ValueError(f"{temp_c:g} °C is colder than the formula knows")
    return 0.6108 * exp(17.27 * temp_c / (temp_c + 237.3)) * (1 - humidity / 100)


def daily_light_mol(ppfd: float, hours: float) -> float:
    """Daily light integral of a steady lamp, mol per m²: PPFD · 3600 · h / 10⁶."""
    return ppfd * 3600 * hours / 1e6


def summed_degree_days(
    days: Sequence[WeatherDay], base_c: float, cap_c: float | None = None, *, sine: bool = False
) -> list[float | None]:
    """Degree days summed from the first day on; None from the first day without extremes.

    Parameters
    ----------
    days : sequence of WeatherDay, length n
    base_c, cap_c : float
        As for `degree_days_average`.
    sine : bool
        By single sine instead of the average.

    Returns
    -------
    list of float or None, length n
        A sum over a gap would be too small without saying so.
    """
    by_day, total, sums = degree_days_sine if sine else degree_days_average, 0.0, []
    for day in days:
        if total is not None:
            known = day.min_c is not None
            total = total + by_day(day.min_c, day.max_c, base_c, cap_c) if known else None
        sums.append(total)
    return sums


def cold_flags(day: WeatherDay, chill_c: float | None = None) -> tuple[str, ...]:
    """Flags of a cold day, worst first; `CAUTIONS` says what each means.

    Parameters
    ----------
    day : WeatherDay
    chill_c : float, optional
        Where the crop begins to suffer: about 5 °C for tomatoes, 10 to 13 °C for basil (growers'
        experience rather than measurement).
    """
    if day.min_c is None:
        return ()
    frost = FROST if day.min_c <= FROST_C else NEAR_FROST if day.min_c <= NEAR_FROST_C else None
    chill = CHILL if chill_c is not None and day.min_c <= chill_c else None
    return tuple(flag for flag in (frost, chill) if flag)
