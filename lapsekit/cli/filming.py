"""The command that makes films."""

import tomllib
from datetime import datetime
from typing import Annotated, Any

import typer

from lapsekit import telling_films
from lapsekit.cli.shared import (
    HERE,
    PATIENCE,
    AsJson,
    SeasonFolder,
    Wait,
    Workers,
    app,
    held,
    report_facts,
    say,
    tracking,
)
from lapsekit.errors import FilmError
from lapsekit.season import Season

DAY = ["%Y-%m-%d"]


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
        bool, typer.Option("--preview", help="Small and soon, as NAME-preview.")
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
        datetime | None, typer.Option(formats=DAY, help="Day of a cut of one day.")
    ] = None,
    since: Annotated[
        datetime | None, typer.Option(formats=DAY, help="First day of a season's cut.")
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

    opened = Season(season)
    table = opened.settings.film
    said = {
        "kind": kind,
        "camera": camera,
        "regions": tuple(region) if region else None,
        "day": day and day.date(),
        "since": since and since.date(),
        "days": days,
        "shape": shape,
        "short_side_px": short_side,
        "files": tuple(also) if also else None,
    }
    said = {key: value for key, value in said.items() if value is not None} | _set(setting or [])
    chosen = list(names or [])
    chosen += [*table.cuts] if every else []
    chosen += [*table.weekly] if weekly else []
    chosen = list(dict.fromkeys(chosen)) or [_name_for(said)]
    if show_list:
        _list(opened, as_json)
        return
    with held(opened, "film", wait):
        for name in chosen:
            report = make_film(
                opened, name, said, preview=preview, workers=workers, track=tracking(as_json)
            )
            report_facts(as_json, telling_films.filmed(report), vars(report))


def _set(settings: list[str]) -> dict[str, Any]:
    """Keys with their values as TOML has them; a bare word is text."""
    found = {}
    for told in settings:
        key, equals, value = told.partition("=")
        if not equals or not key.strip():
            raise FilmError(f'--set "{told}": write KEY=VALUE, like --set pace=growth')
        try:
            found[key.strip()] = tomllib.loads(f"it = {value}")["it"]
        except tomllib.TOMLDecodeError:
            found[key.strip()] = value.strip()
    return found


def _name_for(said: dict[str, Any]) -> str:
    """What a cut is called that is told by its options alone."""
    kind = said.get("kind", "season")
    return "-".join([kind, *said.get("regions", ())])


def _list(opened: Season, as_json: bool) -> None:
    from lapsekit.film.making import cut_of, stem_of

    cuts = {name: cut_of(opened, name, {}) for name in opened.settings.film.known}
    files = {
        name: f"{opened.film_file(stem_of(opened, name, cut, {}))}" for name, cut in cuts.items()
    }
    facts = {
        name: {**cut.model_dump(mode="json"), "file": files[name]} for name, cut in cuts.items()
    }
    if as_json:
        report_facts(True, [], {"cuts": facts})
    else:
        say(telling_films.cuts_listed(cuts, files))
