"""The season's own text files, and the tables of its truth."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from . import story
from .growth import SLOWED
from .layout import TRAY_CELL_M, View, containers, plug_offset
from .story import CAMERA, PLANTS, SOWN, Frame, day_of
from .weather import hourly, watered

AREAS = ("camera", "taken_at", "region", "area_px", "area_cm2", "area_level_cm2", "leaves",
         "law_cm2", "height_cm")  # fmt: skip
_BOXES_PX = {  # left, top, right, bottom in the reference view, from the sowing day
    "green-lettuce": (2, 12, 244, 292), "red-lettuce": (246, 12, 466, 292),
    "sunflower": (468, 12, 686, 292), "pak-choi": (688, 12, 952, 292),
    "basil": (40, 350, 176, 500), "chives": (186, 330, 324, 530),
    "chard": (326, 304, 544, 552), "trough-rocket": (546, 330, 684, 540),
    "trough-red-lettuce": (686, 330, 798, 540), "trough-pak-choi": (800, 318, 956, 552),
}  # fmt: skip
_MEASURED_CM = (120, 84)
"""What the grower laid a tape along: a rectangle on the slats, for the scale and the tilt."""

_LATER_BOXES_PX = {
    "basil": (
        (dt.date(2026, 4, 8), (8, 330, 184, 530)),
        (dt.date(2026, 4, 29), (8, 336, 180, 552)),
    ),
    "chives": ((dt.date(2026, 4, 29), (182, 284, 324, 514)),),
}


def write_rows(path: Path, header, rows: Iterable):
    """Write a table as CSV."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([header, *rows])


def instant(moment: dt.datetime) -> str:
    """2026-05-12T08:30:00Z."""
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def measured_corners_px() -> list[list[int]]:
    """Corners of a rectangle on the slats, about the bench's middle, as whole pixels."""
    wide, deep = (side / 200 for side in _MEASURED_CM)
    corners = [(-wide, deep, 0), (wide, deep, 0), (wide, -deep, 0), (-wide, -deep, 0)]
    return np.rint(View().project(corners)[0] - 0.5).astype(int).tolist()


def season_toml() -> str:
    """Settings of the season."""
    return f"""\
# The rendered sample season (see README.md).
[season]
title = "Salad leaves on the school roof"
time_zone = "{story.ZONE.key}"
sown = {SOWN}

[cameras.{CAMERA}]
kind = "replay"
folder = "frames"
scale_rectangle = {measured_corners_px()}
scale_sides_cm = {list(_MEASURED_CM)}

[capture]
every_minutes = 15
from = "08:30"
until = "18:00"
daily_at = "{story.DAILY_AT:%H:%M}"
"""


def boxes(name: str) -> list[tuple[dt.date, tuple[int, int, int, int]]]:
    """A region's boxes (px) in the reference view, each with the day it is valid from."""
    if name.startswith("tray-"):
        tray, number = name.rsplit("-", 1)
        pot = next(c for c in containers(False, False, False) if c.name == tray)
        dx, dy = plug_offset(int(number))
        half = TRAY_CELL_M / 2
        corners = [(pot.x + dx + sx * half, pot.y + dy + sy * half, pot.height + 0.012)
                   for sx, sy in ((-1, 1), (1, -1))]  # fmt: skip
        (x0, y0), (x1, y1) = np.round(View().project(corners)[0]).astype(int)
        return [(SOWN, (int(x0), int(y0), int(x1), int(y1)))]
    return [(SOWN, _BOXES_PX[name]), *_LATER_BOXES_PX.get(name, ())]


def regions_toml() -> str:
    """Outlines of every region."""
    parts = ["# Outlines in px of the upright picture (x right, y down), each valid from a date.\n"]
    for plant in PLANTS:
        parts.append(
            f'[[region]]\nname = "{plant.name}"\nlabel = "{plant.label}"\ncamera = "{CAMERA}"'
        )
        if plant.group:
            parts[-1] += f'\ngroup = "{plant.group}"'
        if plant.sown:
            parts[-1] += f"\nsown = {plant.sown}"
        for since, (x0, y0, x1, y1) in boxes(plant.name):
            points = f"[[{x0}, {y0}], [{x1}, {y0}], [{x1}, {y1}], [{x0}, {y1}]]"
            parts[-1] += f"\n\n[[region.outline]]\nfrom = {since}\npoints = {points}"
        parts[-1] += "\n"
    return "\n".join(parts)


def diary() -> list[tuple[str, str, str, str]]:
    """What the grower did and saw: date, region, event, note."""
    on = {k: str(day_of(v)) for k, v in (
        ("potted", story.POTTED_ON), ("knock", story.KNOCKED), ("back", story.PUT_BACK),
        ("replanted", story.REPLANTED), ("cut", story.CUT), ("moved", story.MOVED),
        ("cold", story.COLD), ("fed", story.FED))}  # fmt: skip
    rows = [
        ("2026-02-23", "chives", "sown", "a pinch of seeds in the middle of the pot"),
        ("2026-03-04", "sunflower", "sown", "one seed 2 cm deep"),
        (str(SOWN), "", "sown", "everything else; twenty plugs of corn salad in two trays"),
        (on["fed"], "", "fed", "tray B gets half-strength feed from today on; tray A water only"),
        (on["potted"], "basil", "potted on", "from the 11 cm pot into the 16 cm pot"),
        (on["knock"], "", "camera", "found the camera knocked in the evening"),
        (on["back"], "", "camera", "turned it back, not quite to where it was"),
        (on["replanted"], "chard", "transplanted", "root ball fell apart; into the 19 cm pot"),
        (str(day_of(story.REPLANTED + 1)), "chard", "wilted", "leaves hang"),
        (str(day_of(story.REPLANTED + story.DROOP_DAYS)), "chard", "recovered", ""),
        (str(day_of(story.GNAWED + 4)), "pak-choi", "pest", "small round holes; flea beetles"),
        (on["cut"], "green-lettuce", "cut", "outer leaves for lunch; the heart stays"),
        (on["moved"], "basil", "moved", "a few centimetres, to reach behind"),
        (on["moved"], "chives", "moved", "a few centimetres, to reach behind"),
        (on["cold"], "", "cold", "close to freezing at dawn"),
        (on["cold"], "basil", "wilted", "hangs after the cold night"),
        (on["cold"], "sunflower", "wilted", "hangs after the cold night"),
        (str(day_of(story.COLD + 5)), "basil", "recovered", ""),
        (str(day_of(story.COLD + 4)), "sunflower", "recovered", ""),
        ("2026-05-12", "sunflower", "first flower", ""),
        ("2026-05-24", "", "harvest", "everything, after the last picture"),
    ]
    for plant in PLANTS:
        if plant.emerges > 0 and not plant.name.startswith("tray-"):
            note = "at last, after twelve days" if plant.emerges > 10 else ""
            rows.append((str(day_of(plant.emerges)), plant.name, "emerged", note))
    rows.append((str(day_of(PLANTS[-1].emerges)), "", "emerged", "both module trays"))
    rows += [(str(day_of(d)), "", "watered", "") for d in range(1, 76) if watered(d)]
    return sorted(rows, key=lambda r: (r[0], r[1], r[2]))


def story_md() -> str:
    """The story with its true numbers."""

    def at(time):
        return f"{day_of(time)} {int(time % 1 * 24):02d}:{int(time * 24 % 1 * 60):02d}"

    def percent(name, number=0):
        return f"{100 * SLOWED[name][number][2]:.0f}"

    before, after = ({c.name: c for c in containers(True, True, m)} for m in (False, True))
    moved_cm = {
        n: f"{100 * np.hypot(after[n].x - before[n].x, after[n].y - before[n].y):.1f}"
        for n in ("basil", "chives")
    }
    return f"""\
# What truly happens in the sample season

Times are local. Areas: `areas.csv`; `law_cm2` is the leaf area (one side, all leaves) by the
growth law of `render/growth.py`, `area_cm2` the visible canopy projected onto the bench plane,
`area_level_cm2` the canopy seen from straight above at its true height.

- **{at(story.POTTED_ON)}, basil:** potted on; grows at {percent("basil")} % of its rate for
  {story.PAUSE_DAYS:.0f} days.
- **{at(story.KNOCKED)}, camera:** knocked by 14 px and {story.KNOCK_DEG} degrees; half put back on
  {at(story.PUT_BACK)}. It also drifts by up to half a pixel; `camera.csv` has every frame's
  matrix from the reference view to the frame.
- **{at(story.REPLANTED)}, chard:** transplanted with disturbed roots; leaves hang and stand up
  again within {story.DROOP_DAYS:.0f} days, growing at {percent("chard")} % of the rate.
  The new pot stands 2.5 cm higher, so that the canopy reads larger at once; standing up again,
  it passes its later size by 5 % for a day.
- **{at(story.GNAWED)} to {at(story.GNAWED_UNTIL)}, pak choi:** holes eaten into the leaves, little
  by little; grows at {percent("pak-choi")} % of its rate. `law_cm2` counts the leaves as if whole.
- **{at(story.CUT)}, green lettuce:** cut-and-come-again; {100 * story.CUT_SHARE:.1f} % of the leaf
  area goes.
- **{at(story.MOVED)}, basil and chives:** the pots are moved by {moved_cm["basil"]} and
  {moved_cm["chives"]} cm.
- **{at(story.COLD)}, basil and sunflower:** lose turgor in the cold night, stand again after
  {story.COLD_DAYS:.0f} and {story.COLD_DAYS - 1:.0f} days; grow at {percent("basil", 1)} and
  {percent("sunflower")} % of the rate
  meanwhile. The sunflower's head, from early May, counts as its canopy.
- **Trough, red lettuce:** comes up on day 12. From 21 April it and the pak choi beside it
  overlap, in the end by a quarter of the lettuce and a fifth of the pak choi; masks in `pair/`
  hold both full outlines (bit 1 lettuce, bit 2 pak choi). Some frills of the lettuce come through
  leaves of the pak choi, in pictures and truth alike.
- **Trays:** from {at(story.FED)} every plug of tray B has {story.FEED_FACTOR} times the relative
  growth rate of tray A's; nothing else differs. Odd and even plugs start from the same five
  sizes, so their means are equal in truth.
- **No frames:** {", ".join(map(str, story.NO_FRAMES))}. Mishaps: `frames.csv` and
  `mishaps/list.csv`.
"""


def write_texts(out: Path):
    """Write every text file that needs no rendering: settings, regions, diary, weather, story."""
    out.mkdir(parents=True, exist_ok=True)
    (out / "season.toml").write_text(season_toml(), encoding="utf-8")
    (out / "regions.toml").write_text(regions_toml(), encoding="utf-8")
    write_rows(out / "diary.csv", ("date", "region", "event", "note"), diary())
    write_rows(out / "weather.csv", ("time", "temp_c", "humidity"), hourly())
    (out / "truth").mkdir(exist_ok=True)
    (out / "truth" / "story.md").write_text(story_md(), encoding="utf-8")


def write_frames_table(out: Path, frames: Iterable[Frame]):
    """Write truth/frames.csv and the list of mishaps."""
    frames = list(frames)
    rows = [(f.path, CAMERA, instant(f.moment), f.state) for f in frames if f.state != "truncated"]
    write_rows(out / "truth" / "frames.csv", ("path", "camera", "taken_at", "state"), rows)
    rows = [(f.path, instant(f.moment), f.state) for f in frames if f.state != "usable"]
    write_rows(out / "mishaps" / "list.csv", ("path", "taken_at", "what"), rows)
