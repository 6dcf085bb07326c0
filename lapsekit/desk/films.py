"""Cuts of the season: what there is, changed or new, seen small first, then made."""

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response

from lapsekit.desk.asking import Asked, get, post
from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import ChangedMeanwhile, FilmError, LapsekitError, SettingsError
from lapsekit.film.naming import cut_of, stem_of
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.settings import Cut

KINDS = {
    "season": "the whole season",
    "recent": "the last days",
    "region": "one plant, followed",
    "together": "several plants side by side, in step by age",
    "then-and-now": "last season beside this one",
    "day": "one day from dawn to dusk",
}
CHOICES = {
    "shape": {
        "picture": "as the camera's pictures",
        "wide": "wide, 16:9",
        "square": "square",
        "upright": "upright, 9:16",
    },
    "frames": {
        "daily": "one picture a day",
        "all": "all usable ones",
        "alike": "of each day the one in the most even light",
    },
    "pace": {
        "time": "each day alike",
        "growth": "each second the same growth",
        "events": "slow where the diary tells of acts",
    },
    "between": {"fade": "fading", "hold": "one after the other", "motion": "moving"},
}
SHOWS = {
    "date": "the date",
    "diary": "what the diary tells",
    "curve": "the curve",
    "names": "names of plants",
    "thread": "how far the season is",
}
_NUMBERS = {"days": int, "short_side_px": int, "day_seconds": float, "length_seconds": float}
_DAYS = ("since", "day")
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


@dataclass(frozen=True)
class Listed:
    """A cut in the list, with its last film and its preview where they are there."""

    name: str
    cut: Cut | None
    told: str
    is_own: bool
    film: str
    made_at: datetime | None
    preview: str


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        films = _films(season.folder)
        cuts = [_listed(season, name, films) for name in season.settings.film.known]
    return asked.page("films.html", cuts=cuts, kinds=KINDS)


def _listed(season: Season, name: str, films: dict[str, Path]) -> Listed:
    is_own = name in season.settings.film.cuts
    try:
        cut = cut_of(season, name, {})
        stem = stem_of(season, name, cut, {})
    except FilmError as error:
        return Listed(name, None, f"{error}", is_own, "", None, "")
    film, preview = f"{stem}.mp4", f"{stem}.preview.mp4"
    made = films.get(film)
    at = made and datetime.fromtimestamp(made.stat().st_mtime, season.zone)
    whom = ", ".join(cut.regions)
    told = KINDS[cut.kind] + (f": {whom}" if whom else "")
    return Listed(
        name, cut, told, is_own, film if made else "", at, preview if preview in films else ""
    )


def _films(folder: Path) -> dict[str, Path]:
    """Films that lie in the season folder, by file name."""
    found = (folder / "films").glob("*.mp4")
    return {f.name: f for f in sorted(found) if f.is_file() and not f.is_symlink()}


def _file(asked: Asked) -> Response:
    file = _films(asked.desk.folder).get(asked.named["name"])
    if file is None:
        raise HTTPException(404)
    headers = {"cache-control": "private, no-cache"}
    return FileResponse(file, media_type="video/mp4", headers=headers)


def _make(asked: Asked) -> Response:
    name, is_preview = asked.named["name"], bool(asked.text("preview"))
    with asked.season() as season:
        if name not in season.settings.film.known:
            raise HTTPException(404)
    what = f"Preview of the film {name}" if is_preview else f"The film {name}"
    words = ["film", name, *(["--preview"] if is_preview else [])]
    return asked.work(what, words, f"/films/#{name}")


def _form(asked: Asked, refusal: str = "") -> Response:
    """The form of a cut that is there, or of a new one."""
    name = asked.named.get("name", "")
    with asked.season() as season:
        table = season.settings.film
        if name and name not in table.known:
            raise HTTPException(404)
        own = table.cuts.get(name)
        facts = {
            "regions": season.regions.region,
            "cameras": list(season.settings.cameras),
            "cameras_told": {name: name for name in season.settings.cameras},
            "usual": table,
        }
    typed = _typed(own) if not asked.form else {k: asked.text(k) for k in Cut.model_fields}
    several = {key: _several(asked, own, key) for key in ("regions", "shows")}
    return asked.page(
        "film_cut.html",
        name=name,
        new_name=asked.text("name"),
        typed=typed | ({} if own or asked.form else {"kind": name or "region"}),
        several=several,
        kinds=KINDS,
        choices=CHOICES,
        shows=SHOWS,
        is_own=own is not None,
        refusal=refusal,
        seen=asked.text("seen") or asked.desk.book.text(SETTINGS_FILE).version,
        **facts,
    )


def _typed(cut: Cut | None) -> dict[str, str]:
    """What a cut says of itself, as its form shows it; "" for what it leaves to others."""
    said = cut.model_fields_set if cut else ()
    return {key: f"{getattr(cut, key)}" if key in said else "" for key in Cut.model_fields}


def _several(asked: Asked, cut: Cut | None, key: str) -> list[str]:
    if asked.form:
        return asked.texts(key)
    return list(getattr(cut, key)) if cut and key in cut.model_fields_set else []


def _save(asked: Asked) -> Response:
    name = asked.named.get("name") or asked.text("name")
    said = _said(asked)

    def edit(text: str) -> str:
        for key, value in said.items():
            path = ("film", "cuts", name, key)
            text = without(text, path) if value is None else with_value(text, path, value)
        return text

    try:
        if not _NAME.fullmatch(name):
            raise SettingsError("Call the film in lower-case letters, digits and hyphens.")
        if "name" not in asked.named:
            _require_new(asked, name)
        seen = {SETTINGS_FILE: asked.text("seen")}
        change = asked.desk.book.change(f"Film {name} set", {SETTINGS_FILE: edit}, seen=seen)
    except ChangedMeanwhile:
        raise
    except LapsekitError as error:
        return _form(asked, f"{error}")
    return asked.changed(change, f"/films/#{name}")


def _require_new(asked: Asked, name: str) -> None:
    with asked.season() as season:
        if name in season.settings.film.known or name in season.settings.cameras:
            raise SettingsError(
                f'There is a film or a camera called "{name}"; choose another name.'
            )


def _said(asked: Asked) -> dict[str, Any]:
    """What the form says of a cut; None for what it leaves to what holds for all."""
    found: dict[str, Any] = {"kind": asked.text("kind") or None}
    for key in ("camera", *CHOICES):
        found[key] = asked.text(key) or None
    for key, kind in _NUMBERS.items():
        found[key] = kind(asked.number(key)) if asked.text(key) else None
    for key in _DAYS:
        found[key] = asked.day(key) if asked.text(key) else None
    for key in ("regions", "shows"):
        found[key] = asked.texts(key) or None
    found["on_site"] = True if asked.text("on_site") else None
    return found


def _remove(asked: Asked) -> Response:
    name = asked.named["name"]
    change = asked.desk.book.change(
        f"Film {name} taken out of the settings",
        {SETTINGS_FILE: lambda text: without(text, ("film", "cuts", name))},
        seen={SETTINGS_FILE: asked.text("seen")},
    )
    return asked.changed(change, "/films/", "Its file stays in films/ until you delete it.")


ROUTES = (
    get("/films/", _page),
    get("/films/new", _form),
    post("/films/new", _save),
    get("/films/file/{name}", _file),
    get("/films/cut/{name}", _form),
    post("/films/cut/{name}", _save),
    post("/films/cut/{name}/make", _make),
    post("/films/cut/{name}/remove", _remove),
)
