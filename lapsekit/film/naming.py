"""Which cut is meant by a name and what is said beside it, and what its files are called."""

import hashlib
import re
from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError

from lapsekit.errors import FilmError
from lapsekit.film.sources import known_camera
from lapsekit.refusals import refusals
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.settings import Cut

_NO_OTHER_FILM = {"files", "small", "master", "teaser", "encoder", "on_site"}
_SAY_THEMSELVES = {"camera", "kind", "regions", "shape", "short_side_px", "day"}
_NAME = re.compile(r"[a-z0-9][a-z0-9-]*")
_NO_NAME = re.compile(r"[^a-z0-9]+")
_MOST_LETTERS = 120


def cut_of(season: Season, name: str, said: dict[str, Any]) -> Cut:
    """The cut of that name, with what is said above it.

    Raises
    ------
    FilmError
        If there is none, or it cannot be what is said.
    """
    film = season.settings.film
    if not _NAME.fullmatch(name):
        raise FilmError(
            f'"{name}" is no name for a film; use lower-case letters, digits and hyphens'
        )
    if name not in film.known and "kind" not in said:
        near = get_close_matches(name, film.known, n=1)
        meant = f'; did you mean "{near[0]}"?' if near else f"; there is {', '.join(film.known)}"
        raise FilmError(
            f'{season.folder / SETTINGS_FILE}: no cut "{name}" in [film.cuts]{meant} (or give its '
            "--kind)"
        )
    try:
        return film.resolved(film.known.get(name, Cut()), **said)
    except ValidationError as error:
        told = [each.removeprefix("the file: ") for each in refusals(error, Cut)]
        raise FilmError("\n".join(f'cut "{name}": {each}' for each in told)) from error


def stem_of(season: Season, name: str, cut: Cut, said: Mapping[str, Any]) -> str:
    """Name of a film's files.

    A season's is called like its camera, another like its cut. What was said otherwise than
    season.toml says it stands behind that: it is another film, and the one of season.toml stays.

    Raises
    ------
    FilmError
        If a cut is called like a camera, whose season's film has that name.
    """
    own, table, same = name, season.settings.film, set(_NO_OTHER_FILM)
    if name == "season":
        own = known_camera(season, cut.camera)
        same.add("camera")
    elif name in season.settings.cameras:
        raise FilmError(
            f'{season.folder / SETTINGS_FILE}: the cut "{name}" is called like a camera, whose '
            "season's film has that name; call it otherwise"
        )
    plain = table.resolved(table.known.get(name, Cut(kind=cut.kind, regions=cut.regions)))
    keys = [key for key in Cut.model_fields if key in said and key not in same]
    stem = ".".join(  # no cut and no camera has a dot in its name
        [own, *(_worded(key, cut) for key in keys if getattr(cut, key) != getattr(plain, key))]
    )
    if len(stem) <= _MOST_LETTERS:
        return stem
    return f"{stem[:_MOST_LETTERS]}-{hashlib.sha256(stem.encode()).hexdigest()[:8]}"


def _worded(key: str, cut: Cut) -> str:
    """What is said of a film, as a part of its name."""
    value = getattr(cut, key)
    told = "-".join(value) if isinstance(value, tuple) else f"{value}"
    whole = told if key in _SAY_THEMSELVES else f"{key} {told}"
    return _NO_NAME.sub("-", whole.lower()).strip("-")
