"""Regions and outlines of regions.toml added, changed, taken out (pure).

Each function takes the file's text and gives it back changed; every line that is not concerned
stays as it is. A region that is not there raises `SettingsError`.
"""

from collections.abc import Sequence
from datetime import date
from typing import Any

Points = Sequence[tuple[float, float]]


def add_region(
    text: str, name: str, camera: str, from_day: date, points: Points | None, **keys: Any
) -> str:
    """Add a region at the end, with its first outline (None: the whole picture).

    Parameters
    ----------
    keys
        ``label``, ``sown``, ``group``, ``base_c``, ``cap_c``; None is left out.

    Raises
    ------
    SettingsError
        If there is a region of that name.
    """
    raise NotImplementedError


def set_key(text: str, name: str, key: str, value: Any) -> str:
    """Set a key of a region (``name`` renames it), or take it out with None."""
    raise NotImplementedError


def remove_region(text: str, name: str) -> str:
    """Take a region out with its outlines; its measured days stay in the catalogue."""
    raise NotImplementedError


def set_outline(text: str, name: str, from_day: date, points: Points | None) -> str:
    """Set the outline that holds from a day on: that of this very day, or a new one."""
    raise NotImplementedError


def remove_outline(text: str, name: str, from_day: date) -> str:
    """Take the outline of a day out, so that the one before it holds on.

    Raises
    ------
    SettingsError
        If there is no outline of that day, or it is the region's only one.
    """
    raise NotImplementedError
