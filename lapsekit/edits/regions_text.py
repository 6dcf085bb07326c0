"""Regions and outlines of regions.toml added, changed, taken out (pure).

Each function takes the file's text and gives it back changed; every line that is not concerned
stays as it is. A region that is not there raises `SettingsError`.
"""

import tomllib
from collections.abc import Sequence
from datetime import date
from typing import Any

from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import SettingsError
from lapsekit.season import REGIONS_FILE

Points = Sequence[tuple[float, float]]


def add_region(
    text: str, name: str, camera: str, from_day: date, points: Points | None, **keys: Any
) -> str:
    """Add a region below the last, with its first outline (None: the whole picture).

    Parameters
    ----------
    keys
        ``label``, ``sown``, ``group`` and whatever else a region may have; None is left out.

    Raises
    ------
    SettingsError
        If there is a region of that name.
    """
    there = _regions(text)
    if any(region.get("name") == name for region in there):
        raise SettingsError(f'{REGIONS_FILE} has a region "{name}" already; give another name')
    told = {key: value for key, value in keys.items() if value is not None}
    text = with_value(text, ("region", len(there)), {"name": name, "camera": camera, **told})
    return _with_outline(text, ("region", len(there), "outline"), 0, from_day, points)


def set_key(text: str, name: str, key: str, value: Any) -> str:
    """Set a key of a region (``name`` renames it), or take it out with None."""
    path = ("region", _number(text, name), key)
    return without(text, path) if value is None else with_value(text, path, value)


def end_region(text: str, name: str, until: date | None, ended: str | None = None) -> str:
    """Say on which day a region is measured for the last time, and how it ended; None: it lives."""
    text = set_key(text, name, "until", until)
    return set_key(text, name, "ended", ended if until else None)


def remove_region(text: str, name: str) -> str:
    """Take a region out with its outlines; its measured days stay in the catalogue."""
    return without(text, ("region", _number(text, name)))


def set_outline(text: str, name: str, from_day: date, points: Points | None) -> str:
    """Set the outline that holds from a day on: that of this very day, or a new one."""
    number = _number(text, name)
    path, known = ("region", number, "outline"), _outlines(text, number)
    at = known.index(from_day) if from_day in known else len(known)
    if at == len(known):
        return _with_outline(text, path, at, from_day, points)
    if points is None:
        return without(text, (*path, at, "points"))
    return with_value(text, (*path, at, "points"), points)


def move_outline(text: str, name: str, was: date, from_day: date) -> str:
    """Let the outline that holds from a day on hold from another."""
    number = _number(text, name)
    known = _outlines(text, number)
    if was not in known:
        raise SettingsError(f'{REGIONS_FILE}: region "{name}" has no outline from {was}')
    return with_value(text, ("region", number, "outline", known.index(was), "from"), from_day)


def remove_outline(text: str, name: str, from_day: date) -> str:
    """Take the outline of a day out, so that the one before it holds on.

    Raises
    ------
    SettingsError
        If there is no outline of that day, or it is the region's only one.
    """
    number = _number(text, name)
    known = _outlines(text, number)
    if from_day not in known:
        raise SettingsError(f'{REGIONS_FILE}: region "{name}" has no outline from {from_day}')
    if len(known) == 1:
        raise SettingsError(
            f'{REGIONS_FILE}: region "{name}" has only this outline; change it, or take the region '
            "out"
        )
    return without(text, ("region", number, "outline", known.index(from_day)))


def _with_outline(
    text: str, path: tuple[str | int, ...], at: int, from_day: date, points: Points | None
) -> str:
    outline = {"from": from_day} | ({} if points is None else {"points": points})
    return with_value(text, (*path, at), outline)


def _regions(text: str) -> list[dict[str, Any]]:
    try:
        return tomllib.loads(text).get("region", [])
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{REGIONS_FILE}: not valid TOML: {error}; mend it first") from error


def _number(text: str, name: str) -> int:
    names = [region.get("name") for region in _regions(text)]
    if name not in names:
        raise SettingsError(f'{REGIONS_FILE} has no region "{name}"; read the page again')
    return names.index(name)


def _outlines(text: str, number: int) -> list[date]:
    """Days of a region's outlines, in the file's order; text like a date counts as one."""
    days = (outline.get("from") for outline in _regions(text)[number].get("outline", []))
    return [date.fromisoformat(day) if isinstance(day, str) else day for day in days]
