"""Commands that make what others see."""

from typing import Annotated

import typer

from lapsekit import telling
from lapsekit.cli.application import app, hint
from lapsekit.cli.shared import (
    HERE,
    PATIENCE,
    AsJson,
    Port,
    SeasonFolder,
    Wait,
    held,
    hint_of_waiting,
    report_facts,
    serve_folder,
    settled,
    tracking,
)
from lapsekit.season import Season


@app.command()
def site(season: SeasonFolder = HERE, as_json: AsJson = False, wait: Wait = PATIENCE) -> None:
    """Build the season site, or bring it up to date."""
    from lapsekit.site.build import build_site

    opened = Season(season)
    with held(opened, "site", wait):
        hint_of_waiting(opened)
        report = build_site(opened, tracking(as_json))
    report_facts(as_json, telling.built(report), vars(report))


@app.command()
def publish(
    season: SeasonFolder = HERE,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Say what of the site as it lies would go."),
    ] = False,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace",
            help="Go on where something else is published already; send everything again.",
        ),
    ] = False,
    verify: Annotated[
        bool,
        typer.Option(
            "--verify",
            help="Compare what is in every file there, not names and sizes alone; send again what "
            "is damaged. Some servers send all of it back for that.",
        ),
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Bring the site up to date and send it to where readers find it."""
    from lapsekit.places import require_usable
    from lapsekit.publishing import publish
    from lapsekit.site.build import build_for_readers

    opened = Season(season)
    require_usable(opened.settings.publish, opened.folder)
    hold = settled if dry_run else held
    with hold(opened, "publish", wait):
        if not dry_run:
            build_for_readers(opened, tracking(as_json))  # nothing goes out that was held back
        elif (opened.site / "index.html").is_file():
            hint([telling.site_as_it_lies(opened)])
        report = publish(
            opened,
            dry_run=dry_run,
            replace=replace,
            verify=verify,
            track=tracking(as_json),
            tell=lambda line: hint([line]),
        )
    report_facts(as_json, telling.published(report, dry_run), vars(report))


@app.command()
def serve(season: SeasonFolder = HERE, port: Port = 8000) -> None:
    """Show the site on this machine (loopback only) until interrupted."""
    serve_folder(Season(season).site, port)
