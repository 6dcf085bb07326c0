"""The command that makes films."""

import re
import tomllib
from datetime import date
from typing import Annotated, Any

import typer

from lapsekit import telling_films
from lapsekit.cli.application import app, say
from lapsekit.cli.shared import (
    DAY,
    HERE,
    PATIENCE,
    AsJson,
    SeasonFolder,
    Wait,
    Workers,
    day_written,
    held,
    report_facts,
    tracking,
)
from lapsekit.errors import FilmError, LapsekitError
from lapsekit.film.records import Films
from lapsekit.season import SETTINGS_FILE, Season

_OPTIONS = {"regions": "region", "files": "also"}


@app.command()
def film(
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[CUT]...",
            help="Cuts of season.toml; or season, recent, day, which need no line there.",
            show_default="season",
        ),
    ] = None,
    season: SeasonFolder = HERE,
    every: Annotated[bool, typer.Option("--all", help="Every cut of season.toml.")] = False,
    weekly: Annotated[
        bool, typer.Option("--weekly", help="The cuts that are made once a week.")
    ] = False,
    show_list: Annotated[
        bool, typer.Option("--list", help="Say which cuts there are, make nothing.")
    ] = False,
    preview: Annotated[
        bool, typer.Option("--preview", help="Small and soon, as NAME.preview.")
    ] = False,
    kind: Annotated[
        str | None,
        typer.Option(help="season, recent, region, together, then-and-now or day."),
    ] = None,
    camera: Annotated[
        str | None, typer.Option(help="Camera to film.", show_default="the first")
    ] = None,
    region: Annotated[
        list[str] | None, typer.Option(help="Region to follow; several for side by side.")
    ] = None,
    day: Annotated[
        date | None, typer.Option(parser=day_written, metavar=DAY, help="Day of a cut of one day.")
    ] = None,
    since: Annotated[
        date | None,
        typer.Option(parser=day_written, metavar=DAY, help="First day of a season's cut."),
    ] = None,
    days: Annotated[int | None, typer.Option(help="How many last days a recent cut has.")] = None,
    shape: Annotated[str | None, typer.Option(help="picture, wide, square or upright.")] = None,
    short_side: Annotated[int | None, typer.Option(help="Shorter side in px, up to 2160.")] = None,
    also: Annotated[
        list[str] | None, typer.Option(help="Beside it: small, master, stills, teaser.")
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="Any other key of a cut, as in [film]."),
    ] = None,
    workers: Workers = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Make films of the season: whole, of last days, of plants, of a day (H.264 MP4)."""
    from lapsekit.film.making import make_film
    from lapsekit.film.withdrawing import withdraw

    opened = Season(season)
    table = opened.settings.film
    said = {
        "kind": kind,
        "camera": camera,
        "regions": tuple(region) if region else None,
        "day": day,
        "since": since,
        "days": days,
        "shape": shape,
        "short_side_px": short_side,
        "files": tuple(also) if also else None,
    }
    said = {key: value for key, value in said.items() if value is not None} | _set(setting or [])
    if show_list:
        _list(opened, as_json)
        return
    chosen = [*(names or []), *(table.cuts if every else ()), *(table.weekly if weekly else ())]
    if not chosen and not every and not weekly:
        said = {"kind": _kind_of(said)} | said
        chosen = [_name_for(said)]
    reports, refused = [], []
    with held(opened, "film", wait):
        for name in dict.fromkeys(chosen):
            try:
                report = make_film(
                    opened, name, said, preview=preview, workers=workers, track=tracking(as_json)
                )
            except LapsekitError as error:  # the others can be made for all that
                refused.append(f"{error}")
                continue
            reports.append(vars(report))
            report_facts(False, () if as_json else telling_films.filmed(report), {})
        gone = withdraw(opened)
    if not as_json:
        say(telling_films.withdrawn(gone))
    if as_json:
        report_facts(True, (), {"films": reports, "withdrawn": gone})
    elif not chosen:
        say([f"{opened.folder / SETTINGS_FILE} names no such cut, so nothing was filmed"])
    if refused:
        raise FilmError("\n".join(refused))


def _kind_of(said: dict[str, Any]) -> str:
    """The kind of cut that is meant by options which belong to one alone."""
    if "regions" in said:
        return "region" if len(said["regions"]) == 1 else "together"
    return "day" if "day" in said else "recent" if "days" in said else "season"


def _set(settings: list[str]) -> dict[str, Any]:
    """Keys with their values as TOML has them; a bare word is text."""
    found = {}
    for told in settings:
        key, equals, value = told.partition("=")
        if not equals or not key.strip():
            raise FilmError(f'--set "{told}": write KEY=VALUE, like --set pace=growth')
        if key.strip() in ("regions", "files"):
            raise FilmError(f'--set "{told}": say --{_OPTIONS[key.strip()]} instead')
        try:
            found[key.strip()] = tomllib.loads(f"it = {value}")["it"]
        except tomllib.TOMLDecodeError:
            found[key.strip()] = value.strip()
    return found


def _name_for(said: dict[str, Any]) -> str:
    """What a cut is called that is told by its options alone."""
    whole = "-".join([f"{said['kind']}", *said.get("regions", ())])
    return re.sub(r"[^a-z0-9]+", "-", whole.lower()).strip("-") or "film"


def _list(opened: Season, as_json: bool) -> None:
    from lapsekit.film.naming import cut_of, stem_of

    cuts = {name: cut_of(opened, name, {}) for name in opened.settings.film.known}
    films = Films(opened)
    files = {name: films.file(stem_of(opened, name, cut, {})) for name, cut in cuts.items()}
    facts = {
        name: {**cut.model_dump(mode="json"), "file": files[name], "made": files[name].exists()}
        for name, cut in cuts.items()
    }
    if as_json:
        report_facts(True, [], {"cuts": facts})
    else:
        say(telling_films.cuts_listed(cuts, files))
