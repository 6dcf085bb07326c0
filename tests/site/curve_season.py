"""A season of forty days with known areas: one plant doubles every five days, one has gaps."""

from datetime import UTC, datetime, timedelta

from lapsekit.catalogue import Daily
from tests.site.small_season import FIRST, add_day

DAYS = 40
#: Days (from the first) on which no plant has a value: one dark, one without a frame.
DARK, UNSEEN = 20, 28
HOSTILE = "Dill <img src=x onerror=alert(3)> \u202eesrever"

REGIONS = f"""\
[[region]]
name = "basil"
label = "Basil"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[0, 0], [150, 0], [150, 240], [0, 240]]
[[region]]
name = "dill"
label = "{HOSTILE}"
camera = "bench"
sown = 2031-04-01
[[region.outline]]
from = 2031-04-01
points = [[160, 0], [300, 0], [300, 240], [160, 240]]
[[region]]
name = "cress"
camera = "trough"
[[region.outline]]
from = 2031-04-01
"""
DIARY = """\
date,region,event,note
2031-04-10,basil,potted on,"into <i>14 cm</i>"
2031-04-15,,cold,frost at dawn
2031-04-18,,watered,
"""


def day(number):
    """The day with this number, from 0."""
    return FIRST + timedelta(days=number)


def at_its_end():
    """A clock that stands still on its last day."""
    return datetime.combine(day(DAYS - 1), datetime.min.time(), UTC)


def basil_cm2(number):
    """The plant that doubles: 4 cm² at first."""
    return 4 * 2 ** (number / 5)


def dill_cm2(number):
    """The plant that gains 3 cm² a day."""
    return 10 + 3 * number


def fill(season, days=DAYS):
    """Write the daily values; frames only of the first two days, which thus have pages."""
    (season.folder / "regions.toml").write_text(REGIONS, encoding="utf-8")
    (season.folder / "diary.csv").write_text(DIARY, encoding="utf-8")
    for number in range(2):
        add_day(season, day(number))
    rows = []
    for number in range(days):
        if number == UNSEEN:
            continue
        for name, area in (("basil", basil_cm2(number)), ("dill", dill_cm2(number))):
            rows.append(_daily(name, day(number), None if number == DARK else area))
        rows.append(_cover("cress", day(number), None if number == DARK else 0.01 * (number + 1)))
    season.catalogue.store_daily(rows)


def _daily(name, when, area):
    if area is None:
        return Daily(name, when, *(None,) * 6, 0, {"dark": 1})
    three = (area, 0.97 * area, 1.03 * area)
    return Daily(name, when, *(a / 1000 for a in three), *three, 3, {})


def _cover(name, when, cover):
    if cover is None:
        return Daily(name, when, *(None,) * 6, 0, {"dark": 1})
    return Daily(name, when, cover, 0.95 * cover, 1.05 * cover, None, None, None, 3, {})
