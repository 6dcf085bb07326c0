"""What runs by itself: the morning, the film, copies; and the diary that they read."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.copied import last_verified
from lapsekit.film.records import Films
from lapsekit.noting import list_events
from lapsekit.season import LAST_MORNING_FILE, SETTINGS_FILE, Season
from lapsekit.when import from_utc_text

LATE_MORNING = timedelta(hours=36)
OLD_COPIES = timedelta(days=3, hours=12)
OLD_FILM = timedelta(days=9)
_TOLD = 300


@dataclass(frozen=True)
class LastMorning:
    """When the last morning ended, its exit code, and what it said where it failed.

    `code` is None for one that did not end in time and was ended.
    """

    ended_at: datetime
    code: int | None
    told: str


def diary(look: Look) -> Iterator[Finding]:
    """Lines of the diary that cannot be read, name no region, or are of days to come."""
    found = list_events(look.season)
    kinds = (
        ("passed over", found.passed_over),
        ("of no region", found.of_no_region),
        ("of days to come", found.to_come),
    )
    told = [
        f"{len(lines)} line{'' if len(lines) == 1 else 's'} {what}: {lines[0]}"
        for what, lines in kinds
        if lines
    ]
    if told:
        yield Finding("diary", WATCH, "; ".join(told))


def morning(look: Look) -> Iterator[Finding]:
    """How the last morning ended; nothing where none ran yet."""
    last = last_morning(look.season.folder)
    if last is None:
        return
    at = f"{last.ended_at.astimezone(look.season.zone):%Y-%m-%d %H:%M}"
    if last.code != 0:
        told = f"the one of {at} failed: {last.told or f'code {last.code}, no message'}"
        yield Finding("morning", WRONG, told)
    elif look.now - last.ended_at > LATE_MORNING:
        yield Finding("morning", WRONG, f"the last one ended {at}; is lapsekit run running?")
    else:
        yield Finding("morning", FINE, f"the last one ended {at}")


def last_morning(folder: Path) -> LastMorning | None:
    """What is on record of a season's last morning; None where nothing is, or it is damaged."""
    try:
        found = json.loads((folder / LAST_MORNING_FILE).read_text(encoding="utf-8"))
        told = " ".join(str(found.get("told") or "").split())[-_TOLD:]
        code = None if found["code"] is None else int(found["code"])
        return LastMorning(from_utc_text(found["ended_at"]), code, told)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def copies(look: Look) -> Iterator[Finding]:
    """How old the newest copy is, where copies are set up.

    Where nothing was copied yet it counts from when season.toml was last written.
    """
    folder, table = look.season.folder, look.season.settings.copies
    if table.to is None:
        return
    newest = last_verified(folder)
    since = newest or datetime.fromtimestamp(
        (folder / SETTINGS_FILE).stat().st_mtime, look.now.tzinfo
    )
    told = f"the last was verified {since.astimezone(look.season.zone):%Y-%m-%d %H:%M}"
    told = told if newest else "nothing was copied yet"
    if look.now - since > OLD_COPIES:
        more = "check that the other place can be reached, and run lapsekit copy"
        yield Finding("copies", WRONG, f"{told}; {more}")
    else:
        yield Finding("copies", FINE if newest else WATCH, told)


def _weekly_films(season: Season) -> Iterator[tuple[str, str]]:
    """Names of the films that are made weekly, and whose frames they show."""
    first = next(iter(season.settings.cameras))
    for name in season.settings.film.weekly:
        cut = season.settings.film.known[name]
        regions = [season.regions.by_name.get(region) for region in cut.regions]
        camera = cut.camera or next((each.camera for each in regions if each), first)
        yield (camera if name == "season" else name), camera


def film(look: Look) -> Iterator[Finding]:
    """Whether the weekly film keeps up."""
    season = look.season
    if season.settings.film.weekly_on == "never" or last_morning(season.folder) is None:
        return
    for name, camera in _weekly_films(season):
        last, file = look.last_frames.get(camera), Films(season).file(name)
        first = season.catalogue.oldest(camera)
        if last is None or last.taken_at - first < OLD_FILM:
            continue
        if not file.is_file():
            yield Finding(f"film of {name}", WATCH, "none yet; lapsekit film makes it")
            continue
        made = datetime.fromtimestamp(file.stat().st_mtime, look.now.tzinfo)
        old = last.taken_at - made > OLD_FILM
        told = f"made {made.astimezone(season.zone):%Y-%m-%d}"
        more = f"; it is made every {season.settings.film.weekly_on}, and was not" if old else ""
        yield Finding(f"film of {name}", WATCH if old else FINE, told + more)
