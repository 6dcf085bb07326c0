"""What happens in the sample season, as pure numbers: days, events, moments and mishaps.

A *day number* counts local days since sowing (0 is the sowing day); a *day time* is a day number
with the local time of day as its fraction.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np

ZONE, CAMERA = ZoneInfo("CET"), "bench"
SOWN, FIRST_DAY, LAST_DAY = dt.date(2026, 3, 9), dt.date(2026, 3, 12), dt.date(2026, 5, 24)
NO_FRAMES = (dt.date(2026, 4, 2), dt.date(2026, 5, 15))
MANY_FRAMES = tuple(dt.date(2026, *d) for d in ((3, 28), (4, 13), (4, 30), (5, 17)))
DAILY_AT = dt.time(12)
TIMES = tuple(dt.time(*t) for t in ((8, 30), (11, 0), (12, 0), (13, 30), (16, 0)))
MORE_TIMES = tuple(dt.time(*t) for t in ((9, 45), (12, 45), (14, 45), (17, 15), (18, 0)))

# The story's events, as day times (see truth/story.md).
POTTED_ON, PAUSE_DAYS = 30.47, 14.0  # basil, 8 April
KNOCKED, PUT_BACK = 36.53, 40.48  # 14 and 18 April
KNOCK_PX, KNOCK_DEG = (12.0, -7.2), 0.9  # 14 px
REPLANTED, DROOP_DAYS = 39.51, 8.0  # chard, 17 April
GNAWED, GNAWED_UNTIL = 44.0, 66.0  # pak choi, from 22 April
CUT, CUT_SHARE = 50.53, 0.6182  # green lettuce, 28 April
MOVED = 51.3  # basil and chives, 29 April
COLD, COLD_DAYS = 57.2, 6.0  # basil and sunflower, the night to 5 May
FED, FEED_FACTOR = 28.4, 1.2  # tray b, from 6 April


@dataclass(frozen=True)
class Grown:
    """One plant (or a pot's few plants) of the season and its growth law.

    Attributes
    ----------
    name, label : str
        The region's name and what a page calls it.
    species, container : str
    place : tuple of float
        Offset from the container's centre (m).
    seed : int
    emerges : float
        Day time at which the seed leaves open.
    rate : float
        Relative growth rate of a seedling on a day of 12 °C (per day).
    full_cm2 : float
        Leaf area the plant would stop at.
    bend : float
        How early growth slows down: near 0 from the start (Gompertz), 1 late (logistic).
    vigour : float
        Size of its leaves against the species' own.
    sown : datetime.date or None
        Where it differs from the season's.
    group : str or None
    start_cm2 : float
        Leaf area on emerging.
    """

    name: str
    label: str
    species: str
    container: str
    place: tuple[float, float]
    seed: int
    emerges: float
    rate: float
    full_cm2: float
    bend: float = 0.25
    vigour: float = 1.0
    sown: dt.date | None = None
    group: str | None = None
    start_cm2: float = 0.22


def _trays() -> tuple[Grown, ...]:
    """Twenty plugs; in each tray odd and even plugs start from the same five sizes, shuffled."""
    from .layout import plug_offset

    rng = np.random.default_rng(41)
    plugs = []
    for tray in "ab":
        sizes = 0.3 * np.exp(rng.normal(0, 0.16, 5))
        starts = np.zeros(10)
        starts[0::2], starts[1::2] = rng.permutation(sizes), rng.permutation(sizes)
        for number in range(1, 11):
            plugs.append(
                Grown(f"tray-{tray}-{number}", f"Tray {tray.upper()}, plug {number}", "corn salad",
                      f"tray-{tray}", plug_offset(number), 200 + 20 * ord(tray) + number, 6.6,
                      0.055, 1e6, 1.0, 1.0, group=f"Tray {tray.upper()}",
                      start_cm2=float(starts[number - 1]))
            )  # fmt: skip
    return tuple(plugs)


# fmt: off
PLANTS = (
    Grown("green-lettuce", "Green loose-leaf lettuce", "green lettuce", "green-lettuce", (0, 0),
          11, 3.4, 0.395, 2500, 0.24),
    Grown("red-lettuce", "Red lettuce", "red lettuce", "red-lettuce", (0, 0), 12, 4.0, 0.375, 2100,
          0.24),
    Grown("sunflower", "Dwarf sunflower", "sunflower", "sunflower", (0, 0), 14, 2.6, 0.32, 690,
          0.24, sown=dt.date(2026, 3, 4), start_cm2=0.8),
    Grown("pak-choi", "Pak choi", "pak choi", "pak-choi", (0, 0), 13, 2.9, 0.37, 1200, 0.24),
    Grown("basil", "Basil", "basil", "basil", (0, 0), 15, 5.2, 0.45, 620, 0.22, start_cm2=0.3),
    Grown("chives", "Chives", "chives", "chives", (0, 0), 16, -6.0, 0.28, 420, 0.2,
          sown=dt.date(2026, 2, 23)),
    Grown("chard", "Rainbow chard", "chard", "chard", (0, 0), 17, 4.6, 0.37, 900, 0.22,
          start_cm2=0.5),
    Grown("trough-rocket", "Rocket in the trough", "rocket", "trough", (-0.158, 0.0), 18, 3.0,
          0.33, 330, 0.22, 0.92),
    Grown("trough-red-lettuce", "Red lettuce in the trough", "red lettuce", "trough",
          (0.02, -0.004), 19, 12.0, 0.44, 800, 0.22, 0.82),
    Grown("trough-pak-choi", "Pak choi in the trough", "pak choi", "trough", (0.148, 0.004), 20,
          3.6, 0.34, 600, 0.22, 0.72),
    *_trays(),
)
# fmt: on


def day_of(number: float) -> dt.date:
    """The local day of a day number."""
    return SOWN + dt.timedelta(int(np.floor(number)))


def day_time(moment: dt.datetime) -> float:
    """Local days since midnight of the sowing day, as a decimal number."""
    local = moment.astimezone(ZONE)
    return (local.date() - SOWN).days + (local.hour + local.minute / 60 + local.second / 3600) / 24


def in_utc(day: dt.date, clock: dt.time) -> dt.datetime:
    """The instant of a local time on a local day."""
    return dt.datetime.combine(day, clock, ZONE).astimezone(dt.UTC)


def stamp(moment: dt.datetime) -> str:
    """Name of a frame: 20260512T083000Z."""
    return f"{moment:%Y%m%dT%H%M%SZ}"


@dataclass(frozen=True)
class Frame:
    """One picture of the camera: when, and what is wrong with it."""

    moment: dt.datetime
    state: str = "usable"
    repeats: dt.datetime | None = None

    @property
    def day(self) -> dt.date:
        """The local day it is filed under."""
        return self.moment.astimezone(ZONE).date()

    @property
    def path(self) -> str:
        """Where it lies, from the season folder."""
        root = "mishaps" if self.state == "truncated" else "frames"
        return f"{root}/{CAMERA}/{self.day}/{stamp(self.moment)}.jpg"


# (month, day), local time -> state; "frozen" pictures repeat the one before.
_MISHAPS = {
    ((3, 19), (16, 0)): "dark",
    ((4, 25), (8, 30)): "dark",
    ((3, 24), (8, 30)): "dew",
    ((4, 21), (8, 30)): "dew",
    ((4, 22), (8, 30)): "dew",
    ((5, 8), (8, 30)): "dew",
    ((4, 8), (11, 0)): "obstructed",
    ((4, 17), (12, 0)): "obstructed",
    ((4, 28), (13, 30)): "obstructed",
    ((5, 10), (16, 0)): "obstructed",
    ((4, 11), (12, 0)): "frozen",
    ((4, 11), (13, 30)): "frozen",
    ((4, 11), (16, 0)): "frozen",
    ((4, 20), (12, 0)): "blown-out",
    ((5, 2), (13, 30)): "truncated",
}


@cache
def frames() -> tuple[Frame, ...]:
    """Every frame of the season in order of time."""
    states = {
        in_utc(dt.date(2026, *day), dt.time(*clock)): state
        for (day, clock), state in _MISHAPS.items()
    }
    found = []
    for number in range((LAST_DAY - FIRST_DAY).days + 1):
        day = FIRST_DAY + dt.timedelta(number)
        if day in NO_FRAMES:
            continue
        for clock in sorted(TIMES + (MORE_TIMES if day in MANY_FRAMES else ())):
            moment = in_utc(day, clock)
            state = states.get(moment, "usable")
            before = found[-1] if state == "frozen" else None
            shown = (before.repeats or before.moment) if before else None
            found.append(Frame(moment, state, shown))
    return tuple(found)


def frame_at(moment: dt.datetime) -> Frame:
    """The season's frame of that moment, or a usable one where the season has none."""
    return next((f for f in frames() if f.moment == moment), Frame(moment))


def camera_turn(time: float) -> tuple[tuple[float, float], float]:
    """Shift (px) and turn (degrees) of the camera against the reference view: knock and drift."""
    part = 0.0 if time < KNOCKED else 1.0 if time < PUT_BACK else 0.5
    warm = np.sin(2 * np.pi * (time - 0.36))
    drift = np.array([0.22 * np.sin(time / 9.7) + 0.16 * warm, 0.2 * np.cos(time / 13.1) - 0.2])
    x, y = part * np.array(KNOCK_PX) + drift
    return (float(x), float(y)), float(part * KNOCK_DEG + 0.012 * np.sin(time / 17))


def limpness(name: str, time: float) -> float:
    """How far leaves hang for lack of turgor, 0 to 1."""

    def spell(since, days, most):
        on = time - since
        rise = np.clip(on / 0.25, 0, 1)
        return float(most * rise * np.clip((days - on) / (0.7 * days), 0, 1)) if on > 0 else 0.0

    if name == "chard":
        return spell(REPLANTED, DROOP_DAYS, 1.0)
    if name == "basil":
        return spell(COLD, COLD_DAYS, 0.9)
    return spell(COLD, COLD_DAYS - 1, 0.85) if name == "sunflower" else 0.0


def gnawed(name: str, time: float) -> float:
    """Share of the season's pest damage that is done, 0 to 1; only on the single pak choi."""
    done = (time - GNAWED) / (GNAWED_UNTIL - GNAWED)
    return float(np.clip(done, 0, 1)) if name == "pak-choi" else 0.0
