"""Weather and light of the season: temperature by the hour, cloud, sun, and how wet the soil is."""

from __future__ import annotations

import datetime as dt
from functools import cache

import numpy as np

from .story import COLD, FIRST_DAY, LAST_DAY, SOWN, ZONE, day_time

LATITUDE_DEG, EAST_DEG = 52.0, 9.0
_SKY_OF = {19: "clear", 35: "broken", 52: "broken", 57: "clear", 56: "clear", 69: "clear"}
_DAYS = (LAST_DAY - SOWN).days + 2


@cache
def sky(day: int) -> str:
    """Sky of a day number: "clear", "broken" or "overcast"."""
    draw = np.random.default_rng([51, day]).uniform()
    return _SKY_OF.get(day, "clear" if draw < 0.36 else "broken" if draw < 0.72 else "overcast")


def cloud(moment: dt.datetime) -> float:
    """Cover of the sky before the sun, 0 clear to 1 overcast, at one moment."""
    rng = np.random.default_rng([52, int(moment.timestamp()) // 60])
    kind = sky(int(day_time(moment)))
    if kind == "clear":
        return float(rng.uniform(0, 0.08))
    if kind == "overcast":
        return float(rng.uniform(0.86, 1))
    return float(rng.uniform(0.08, 0.3) if rng.uniform() < 0.55 else rng.uniform(0.6, 0.9))


@cache
def _daily() -> tuple[np.ndarray, np.ndarray]:
    """Mean temperature and half of its daily swing (°C) by day number."""
    rng = np.random.default_rng(53)
    days = np.arange(_DAYS)
    wander = np.zeros(_DAYS)
    for day in days[1:]:
        wander[day] = 0.7 * wander[day - 1] + rng.normal(0, 1.3)
    swing = np.array([{"clear": 5.4, "broken": 3.8, "overcast": 1.9}[sky(d)] for d in days])
    mean = 9.2 + 7.2 * days / 76 + wander
    cold = int(COLD)
    mean[cold - 1], mean[cold], swing[cold] = min(mean[cold - 1], 11.0), 8.6, 7.1
    return mean, swing


def temperature_c(time: float) -> float:
    """Air temperature on the terrace at a day time; coldest about 05:30, warmest about 15:00."""
    mean, swing = _daily()
    where = np.clip(time - 0.5, 0, _DAYS - 1)
    level = np.interp(where, np.arange(_DAYS), mean)
    wave = swing[int(np.clip(time, 0, _DAYS - 1))]
    hour = time % 1 * 24
    phase = (hour - 5.5) / 9.5 if 5.5 <= hour < 15 else 1 + ((hour - 15) % 24) / 14.5
    return float(level - wave * np.cos(np.pi * phase))


def warmth(day: int) -> float:
    """How much faster (above 1) or slower a day's temperature makes plants grow."""
    mean, _ = _daily()
    return float(np.clip(1 + 0.045 * (mean[int(np.clip(day, 0, _DAYS - 1))] - 12), 0.55, 1.35))


def hourly() -> list[tuple[str, str, str]]:
    """Rows of weather.csv: time in UTC, temperature (°C), relative humidity (%)."""
    start = dt.datetime.combine(FIRST_DAY, dt.time(), ZONE).astimezone(dt.UTC)
    rng = np.random.default_rng(54)
    rows = []
    for hour in range(24 * ((LAST_DAY - FIRST_DAY).days + 1)):
        moment = start + dt.timedelta(hours=hour)
        time = day_time(moment)
        temp = temperature_c(time) + rng.normal(0, 0.12)
        mean = _daily()[0][int(time)]
        damp = 70 - 3.6 * (temp - mean) + 12 * (sky(int(time)) == "overcast") + rng.normal(0, 1.5)
        rows.append((f"{moment:%Y-%m-%dT%H:%M:%SZ}", f"{temp:.1f}", f"{np.clip(damp, 28, 98):.0f}"))
    return rows


def sun(moment: dt.datetime) -> tuple[np.ndarray, float]:
    """Direction towards the sun (east, north, up) and its height (rad)."""
    day = moment.timetuple().tm_yday
    lean = np.deg2rad(23.44) * np.sin(2 * np.pi * (day - 81) / 365.25)
    hour = np.deg2rad(15 * (moment.hour + moment.minute / 60 - 12) + EAST_DEG)
    north = np.deg2rad(LATITUDE_DEG)
    up = np.sin(north) * np.sin(lean) + np.cos(north) * np.cos(lean) * np.cos(hour)
    east = -np.cos(lean) * np.sin(hour)
    ahead = np.cos(north) * np.sin(lean) - np.sin(north) * np.cos(lean) * np.cos(hour)
    return np.array([east, ahead, up]), float(np.arcsin(up))


def watered(day: int) -> bool:
    """Whether the grower waters that day (about 09:10 in the morning)."""
    return day >= 0 and day % (3 if day < 45 else 2) == 0


def wetness(time: float) -> float:
    """How wet the soil is, 0 dry to 1 just watered."""
    last = max((d + 0.38 for d in range(-6, int(time) + 1) if d % (3 if d < 45 else 2) == 0
                and d + 0.38 <= time), default=-6.0)  # fmt: skip
    return float(np.exp(-((time - last) / 0.85)))
