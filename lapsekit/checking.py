"""Stage: what somebody who came by would look at: camera, frames, disk, clock, power, publishing.

Nothing is changed, and nothing is filed. A finding is fine, to be watched, or wrong; what cannot be
looked at on this machine is left out.
"""

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import hypot
from pathlib import Path
from statistics import median

from lapsekit.cameras import open_camera
from lapsekit.diary import read_diary
from lapsekit.errors import LapsekitError, PictureError
from lapsekit.frames.inspection import inspect
from lapsekit.frames.room import bytes_a_day, days_left
from lapsekit.places import open_place
from lapsekit.publishing.manifest import STATE
from lapsekit.season import DIARY_FILE, Season

FINE, WATCH, WRONG = "fine", "watch", "wrong"

LATE_TIMES = 3
"""Captures in a row that may be missing before the camera counts as silent."""

WATCH_DAYS, WRONG_DAYS = 60, 7
"""Days for which the disk still has room."""

RECENT_DAYS = 7
MOVED_PX = 20.0
"""Shift of the view from which outlines are worth a look; frames are still put back."""

WATCH_C, WRONG_C = 75.0, 82.0
"""Temperatures of the processor at which it will, and does, slow down."""

LEFT_OUT = 0.5
"""Share of recent frames left out from which something is wrong with them."""

POWER_NOW, POWER_ONCE = 0x1, 0x10000
"""Bits of the answer of ``vcgencmd get_throttled``."""


@dataclass(frozen=True)
class Finding:
    """One thing looked at: `how` it is (`FINE`, `WATCH` or `WRONG`), and what to do."""

    what: str
    how: str
    told: str


def check(season: Season, run: Callable[[list[str]], str | None] | None = None) -> list[Finding]:
    """Look at everything.

    Parameters
    ----------
    season : Season
    run : callable, optional
        Runs a program and gives what it says, or None where it is not there; the machine's own
        by default.

    Returns
    -------
    list of Finding
    """
    run = run or _said
    parts = (_cameras, _frames, _view, _disk, _season_texts, _publishing)
    found = [finding for part in parts for finding in part(season)]
    return [*found, *_clock(season, run), *_machine(run)]


def _cameras(season: Season) -> Iterator[Finding]:
    """Each camera is asked for a picture, which is not kept."""
    for name, model in season.settings.cameras.items():
        if model.kind == "files":
            continue
        what = f"camera {name}"
        try:
            facts = inspect(open_camera(name, model, season.folder).take(season.clock()).data)
        except PictureError as error:
            yield Finding(what, WRONG, f"gave no usable picture: {error}")
            continue
        except LapsekitError as error:
            yield Finding(what, WRONG, str(error))
            continue
        size = f"{facts.width} × {facts.height} px"
        known = season.catalogue.picture_sizes(name)
        if known and (facts.width, facts.height) != known[-1][:2]:
            before = f"{known[-1][0]} × {known[-1][1]} px"
            told = f"gives {size}, its frames were {before}: scale and outlines do not fit"
            yield Finding(what, WATCH, told)
        else:
            yield Finding(what, FINE, f"gave a picture of {size}")


def _frames(season: Season) -> Iterator[Finding]:
    """When the last frame came, and how many of the last days were left out."""
    now, capture = season.clock(), season.settings.capture
    screenings = season.catalogue.screenings()
    for name, model in season.settings.cameras.items():
        frames = season.catalogue.frames(name)
        if not frames:
            yield Finding(f"frames of {name}", WATCH, "none yet; lapsekit capture files one")
            continue
        last = frames[-1].taken_at
        told = f"last one of {last.astimezone(season.zone):%Y-%m-%d %H:%M}"
        late = model.kind != "files" and _due_since(season, now) - last > timedelta(
            minutes=LATE_TIMES * capture.every_minutes
        )
        yield Finding(
            f"frames of {name}",
            WRONG if late else FINE,
            f"{told}, and more were due; is lapsekit run running?" if late else told,
        )
        recent = [
            s for f, s in screenings if f.camera == name and now - f.taken_at < _days(RECENT_DAYS)
        ]
        bad = sum(bool(s.reasons) for s in recent)
        if recent and bad > LEFT_OUT * len(recent):
            yield Finding(
                f"pictures of {name}",
                WRONG,
                f"{bad} of {len(recent)} frames of the last {RECENT_DAYS} days were left out; "
                "lapsekit frames says why",
            )


def _due_since(season: Season, now: datetime) -> datetime:
    """The last moment at which a frame was due."""
    today = season.day_of(now)
    due = [at for day in (today - _days(1), today) for at in season.due_times(day) if at <= now]
    return max(due, default=now - _days(1))


def _days(number: float) -> timedelta:
    return timedelta(days=number)


def _view(season: Season) -> Iterator[Finding]:
    """How far the view has moved from the reference view."""
    for name in season.settings.cameras:
        placed = [p for _, p in season.catalogue.placements(name) if p.matrix is not None][-3:]
        if not placed:
            continue
        shift = median(hypot(p.matrix[2], p.matrix[5]) for p in placed)
        moved = shift > MOVED_PX
        told = f"{shift:.1f} px from the reference view at its corner"
        if moved:
            told += "; has the camera been knocked? Frames are put back, look at lapsekit explain"
        yield Finding(f"view of {name}", WATCH if moved else FINE, told)


def _disk(season: Season) -> Iterator[Finding]:
    """For how many days there is room, at the pace of the last days."""
    free = shutil.disk_usage(season.folder).free
    left = days_left(free, bytes_a_day(season.catalogue.frames(), season.clock(), RECENT_DAYS))
    told = f"{free / 1e9:.1f} GB free"
    how = WRONG if free < 200e6 else FINE
    if left is not None:
        told += f", room for {min(left, 9999):.0f} days of frames"
        how = max(how, WRONG if left < WRONG_DAYS else WATCH if left < WATCH_DAYS else FINE,
                  key=(FINE, WATCH, WRONG).index)  # fmt: skip
    if how != FINE:
        told += "; copy frames elsewhere and make room"
    yield Finding("disk", how, told)
    if not os.access(season.folder, os.W_OK):
        yield Finding("season folder", WRONG, f"{season.folder} cannot be written; check its owner")


def _season_texts(season: Season) -> Iterator[Finding]:
    """Lines of the diary that cannot be read."""
    problems = read_diary(season.folder / DIARY_FILE)[1]
    if problems:
        yield Finding("diary", WATCH, f"{len(problems)} lines passed over: {problems[0]}")


def _publishing(season: Season) -> Iterator[Finding]:
    """Whether the place of publication answers."""
    if season.settings.publish.to is None:
        return
    try:
        place = open_place(season.settings.publish, season.folder)
        state = place.read(STATE)
    except LapsekitError as error:
        yield Finding("publishing", WRONG, str(error))
        return
    if state is None:
        yield Finding("publishing", WATCH, f"{place} answers; nothing was published there yet")
    elif len(state) < 64:
        yield Finding("publishing", WATCH, f"{place}: a publication was cut off; the next goes on")
    else:
        yield Finding("publishing", FINE, f"{place} answers")


def _clock(season: Season, run: Callable[[list[str]], str | None]) -> Iterator[Finding]:
    """The clock is not before the last frame, and is set by the network."""
    now = season.clock()
    last = max((f.taken_at for f in season.catalogue.frames()), default=None)
    if last is not None and now < last - timedelta(minutes=5):
        yield Finding(
            "clock", WRONG, f"says {now:%Y-%m-%d %H:%M} UTC, before the last frame; set it"
        )
        return
    said = run(["timedatectl", "show", "-p", "NTPSynchronized", "--value"])
    if said is not None and said.strip() in ("yes", "no"):
        is_set = said.strip() == "yes"
        told = "set by the network" if is_set else "not set by the network; check the connection"
        yield Finding("clock", FINE if is_set else WATCH, told)


def _machine(run: Callable[[list[str]], str | None]) -> Iterator[Finding]:
    """Power and temperature, where the machine tells them."""
    said = run(["vcgencmd", "get_throttled"])
    if said is not None and "=" in said:
        flags = int(said.split("=")[1].strip(), 16)
        if flags & POWER_NOW:
            yield Finding("power", WRONG, "too low now; check the supply and its cable")
        elif flags & POWER_ONCE:
            yield Finding("power", WATCH, "was too low since the start; check the supply")
        else:
            yield Finding("power", FINE, "never too low since the start")
    said = run(["cat", "/sys/class/thermal/thermal_zone0/temp"])
    if said is not None and said.strip().isdigit():
        temp_c = int(said) / 1000
        how = WRONG if temp_c >= WRONG_C else WATCH if temp_c >= WATCH_C else FINE
        more = "" if how == FINE else "; shade it, and let air to it"
        yield Finding("temperature", how, f"processor at {temp_c:.0f} °C{more}")


def _said(command: list[str]) -> str | None:
    if shutil.which(command[0]) is None or (command[0] == "cat" and not Path(command[1]).exists()):
        return None
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=10, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None
