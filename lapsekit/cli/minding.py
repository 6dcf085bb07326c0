"""Commands that look after a season, and after the machine that it is on."""

from pathlib import Path
from typing import Annotated

import typer

from lapsekit import telling_minding as telling
from lapsekit.cli.application import app, say
from lapsekit.cli.shared import HERE, AsJson, SeasonFolder, report_facts, to_read
from lapsekit.errors import SettingsError, TransferError
from lapsekit.season import Season


@app.command()
def check(context: typer.Context, season: SeasonFolder = HERE, as_json: AsJson = False) -> None:
    """Look at all that a visit would: camera to clock; ends with 69 if something is wrong."""
    from lapsekit.checking import WRONG, check

    found = check(to_read(context, season))
    report_facts(as_json, telling.checked(found), {"findings": [vars(each) for each in found]})
    if any(each.how == WRONG for each in found):
        raise typer.Exit(69)


@app.command()
def alert(
    context: typer.Context,
    season: SeasonFolder = HERE,
    test: Annotated[
        bool, typer.Option("--test", help="Send a test message to every address, nothing else.")
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be sent, send nothing.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Tell those who are called what is wrong, and what no longer is; lapsekit run does."""
    from lapsekit.unattended.calls import call

    opened = to_read(context, season) if dry_run else Season(season)
    if test:
        _test(opened, as_json)
        return
    report = call(opened, dry_run=dry_run)
    report_facts(as_json, telling.called(report, dry_run), telling.call_facts(report))
    if report.failed and dry_run:
        raise typer.Exit(TransferError.exit_code)
    if report.failed and not report.sent:
        raise TransferError(telling.unsent(report.failed))


def _test(season: Season, as_json: bool) -> None:
    from lapsekit.unattended.calls import call_test

    if season.settings.alerts.to_file is None:
        raise SettingsError(telling.OFF)
    addresses, failed = call_test(season)
    facts = [telling.address_facts(each) | {"sent": each not in failed} for each in addresses]
    report_facts(as_json, telling.tested(addresses, failed), {"addresses": facts})
    if failed:
        raise typer.Exit(75)


@app.command()
def trust(
    folder: Annotated[Path, typer.Argument(help="A season folder.")],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what it would do, trust nothing.")
    ] = False,
    system: Annotated[
        bool, typer.Option("--system", help="For every user of the machine; needs root.")
    ] = False,
    back: Annotated[bool, typer.Option("--take-back", help="Trust it no longer.")] = False,
    as_json: AsJson = False,
) -> None:
    """Let a season folder run its camera's program, publish, copy and send alerts."""
    from lapsekit.trust import is_trusted, take_back, trust, wishes

    if back:
        records = take_back(folder)
        report_facts(as_json, telling.taken_back(folder, records), {"was_in": records})
        return
    found = wishes(Season(folder).settings, folder)
    if not as_json:
        say(telling.wishes_told(folder, found))
    record = None if dry_run else trust(folder, system)
    lines = telling.trusted(folder, record) if record else []
    facts = {"would": found, "trusted": is_trusted(folder), "recorded_in": record}
    report_facts(as_json, lines, facts)
