"""Commands that look after the frames."""

from typing import Annotated

import typer

from lapsekit import telling_care
from lapsekit.cli.shared import (
    HERE,
    PATIENCE,
    AsJson,
    SeasonFolder,
    Wait,
    app,
    held,
    report_facts,
    tracking,
)
from lapsekit.season import Season


@app.command()
def thin(
    season: SeasonFolder = HERE,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would go, delete nothing.")
    ] = False,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Thin out old frames as [thinning] says; what they gave is written down first."""
    from lapsekit.thinning import thin

    opened = Season(season)
    with held(opened, "thin", wait):
        report = thin(opened, dry_run, tracking(as_json))
    report_facts(as_json, telling_care.thinned(report, dry_run), vars(report))
