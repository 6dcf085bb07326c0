"""A season told by somebody who means harm, with numbers that are known."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from lapsekit.site.elsewhere.told import (
    DayTold,
    EventTold,
    PictureFile,
    PictureTold,
    PlantTold,
    SeasonTold,
)

ADDRESS = "https://bench.example/2031/"
FIRST = date(2031, 4, 1)
SOWN = date(2031, 3, 25)
LONG = "W" * 10_000
#: Markup, ends of CDATA and script, marks that turn direction, what XML forbids, half a character.
HOSTILE = (
    "</script><img src=x onerror=alert(1)> ]]> & \"'"
    "\u202e\u2066\x00\x08\x1b\ufffe\ud800 \r\nBEGIN:VEVENT"
)


def plant(name="basil", title=f"Basil {HOSTILE}", value=110.0, before=100.0, **changes):
    """A plant whose interval is a tenth of its value either way."""
    told = PlantTold(
        name=name,
        title=title,
        group="",
        unit="cm²",
        age_days=30,
        value=value,
        low=None if value is None else 0.9 * value,
        high=None if value is None else 1.1 * value,
        before=before,
        alike=False,
        doubt=None if value is None else 0.1 * value,
        doubt_before=None if before is None else 0.1 * before,
        frames_used=5,
        is_plant=True,
    )
    return replace(told, **changes)


def event(day=FIRST, what=f"potted on {HOSTILE}", note=f"{LONG} {HOSTILE}", region="basil"):
    """A line of the diary."""
    return EventTold(day, region, what, f"{what} (Basil)", note)


def day(number=0, plants=None, events=None, size=(1600, 1200)):
    """One day: its picture was taken at 10:02 UTC."""
    on = FIRST + timedelta(days=number)
    files = [
        PictureFile(f"pictures/bench/{on}-0123456789ab-{w}.jpg", w, w * size[1] // size[0], 100 * w)
        for w in (480, size[0])
    ]
    taken = datetime(on.year, on.month, on.day, 10, 2, tzinfo=UTC)
    plants = (plant(),) if plants is None else tuple(plants)
    events = (event(on),) if events is None else tuple(events)
    picture = PictureTold("bench", taken, tuple(files), f"Seen from above {HOSTILE}")
    return DayTold(on, (on - SOWN).days, (picture,), plants, plants, events)


def season(days=3, **changes):
    """A season of so many days."""
    told = tuple(day(n) for n in range(days))
    whole = SeasonTold(
        own_name="3f2a9c",
        title=f"Herbs {HOSTILE}",
        about=f"On a roof {HOSTILE} {LONG}",
        sown=SOWN,
        language="en",
        address=ADDRESS,
        first_day=FIRST if days else None,
        days=told,
        events=tuple(e for d in told for e in d.events),
    )
    return replace(whole, **changes)
