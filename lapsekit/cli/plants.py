"""Commands about the plants: how they grew, and what was done to them."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from lapsekit import telling_comparing, telling_growth, telling_notes
from lapsekit.cli.application import app, hint
from lapsekit.cli.shared import (
    HERE,
    PATIENCE,
    AsJson,
    SeasonFolder,
    Wait,
    held,
    hint_of_waiting,
    report_facts,
    to_read,
    tracking,
)
from lapsekit.errors import SettingsError
from lapsekit.season import Season


@app.command()
def growth(
    season: SeasonFolder = HERE,
    cover: Annotated[
        list[float] | None,
        typer.Option(
            help="Tell when this share of each region is covered; may be given again.",
            show_default="1, the closed canopy",
        ),
    ] = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Write the growth tables and plots, and tell rates, pauses, losses and what lies ahead."""
    from lapsekit.reporting import report_growth

    opened = Season(season)
    with held(opened, "growth", wait):
        hint_of_waiting(opened)
        report = report_growth(opened, cover or (1.0,), tracking(as_json))
    facts = {"written": report.written, "rows": [vars(row) for row in report.rows]}
    facts["alerts"] = telling_growth.alert_facts(report.alerts)
    facts |= telling_growth.noticed_facts(report.noticed)
    facts |= telling_growth.foretold_facts(report.foretold)
    report_facts(as_json, telling_growth.grown(report, opened), facts)


@app.command()
def beside(
    context: typer.Context,
    earlier: Annotated[Path, typer.Argument(help="Folder of an earlier season.")],
    by: Annotated[
        str, typer.Option(help="Clock to align them by: age, date or degree-days.")
    ] = "age",
    pair: Annotated[
        list[str] | None,
        typer.Option(
            help="OWN=EARLIER: regions to hold together; may be given again.",
            show_default="regions of the same name",
        ),
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Hold this season's plants against an earlier season's."""
    from lapsekit.besides import beside

    opened, then = Season(season), to_read(context, earlier)
    with held(opened, "growth", wait):
        report = beside(opened, then, by, [_pair(text) for text in pair or []])
    report_facts(as_json, telling_growth.beside_told(report), telling_growth.beside_facts(report))


def _pair(text: str) -> tuple[str, str]:
    own, equals, earlier = text.partition("=")
    if not (own and equals and earlier):
        raise SettingsError(f'--pair "{text}": write OWN=EARLIER, such as basil=basil-2030')
    return own, earlier


@app.command()
def contrast(
    context: typer.Context,
    groups: Annotated[
        list[str] | None,
        typer.Argument(help="Groups of regions.toml.", show_default="all of them"),
    ] = None,
    measure: Annotated[str, typer.Option(help="area, area-days, rgr or rgr-ratio.")] = "area",
    first: Annotated[
        float | None,
        typer.Option("--from", help="Plant age, days.", show_default="first all plants have"),
    ] = None,
    last: Annotated[
        float | None,
        typer.Option("--until", help="Plant age, days.", show_default="last all plants have"),
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Compare groups of plants at the same age, or say why no claim can be made."""
    from lapsekit.contrasting import compare_groups

    opened = to_read(context, season)
    hint_of_waiting(opened)
    report = compare_groups(opened, groups or [], measure, (first, last))
    facts = {**vars(report), "contrasts": [vars(c) for c in report.contrasts]}
    report_facts(as_json, telling_comparing.contrasted(report), facts)


@app.command()
def responses(
    context: typer.Context,
    days: Annotated[int, typer.Option(min=4, max=60, help="Days before and after.")] = 7,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Say what followed each event of the diary, against other plants on the same days."""
    from lapsekit.responding import responses_of

    opened = to_read(context, season)
    hint_of_waiting(opened)
    found, problems = responses_of(opened, days)
    hint(problems)
    facts = [
        {"event": telling_notes.event_facts(r.event), "refusal": r.refusal}
        | ({"response": asdict(r.response)} if r.response else {})
        for r in found
    ]
    report_facts(as_json, telling_comparing.responses_told(found, opened), {"responses": facts})


@app.command()
def plan(
    context: typer.Context,
    ratio: Annotated[float, typer.Option(help="Of areas to be found: 1.2 for a fifth more.")] = 1.2,
    scatter: Annotated[
        float | None,
        typer.Option(
            help="Between plants treated alike, as a share: 0.15.",
            show_default="the season's own",
        ),
    ] = None,
    power: Annotated[float, typer.Option(help="Share of trials that shall find it.")] = 0.8,
    age: Annotated[
        float | None,
        typer.Option(help="Plant age of the season's scatter.", show_default="the last"),
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """Tell how many plants a side a difference needs."""
    from lapsekit.contrasting import plan_plants

    opened = to_read(context, season) if scatter is None else None
    report = plan_plants(opened, ratio, scatter, power, age)
    report_facts(as_json, telling_comparing.planned(report), asdict(report))
