"""Commands about followers' pictures: what came in, what is shown, what goes."""

import sys
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Literal

import typer

from lapsekit import telling_followers as telling
from lapsekit.cli.application import app, hint, say
from lapsekit.cli.shared import HERE, AsJson, SeasonFolder, report_facts
from lapsekit.errors import FollowerError, SettingsError
from lapsekit.season import Season

NOT_ALL = 65

followers_app = typer.Typer(
    help="Pictures that followers sent: taken in, listed, shown, declined, taken down.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(followers_app, name="followers")

Id = Annotated[str, typer.Argument(metavar="ID", help="As lapsekit followers list names it.")]


@followers_app.command("list")
def list_pictures(
    state: Annotated[
        Literal["waiting", "shown", "declined"] | None,
        typer.Argument(help="Only those that wait, are shown or were declined."),
    ] = None,
    season: SeasonFolder = HERE,
    as_json: AsJson = False,
) -> None:
    """List pictures in the order they came, with what keeps them from being shown."""
    from lapsekit.followers.deciding import cannot_be_shown
    from lapsekit.followers.records import damaged, records

    opened = Season(season)
    found = [(record, cannot_be_shown(opened, record)) for record in records(opened, state)]
    hint(damaged(opened))
    report_facts(
        as_json, telling.listed(found), {"pictures": [telling.facts(*each) for each in found]}
    )


@followers_app.command("take-in")
def take_in(season: SeasonFolder = HERE, as_json: AsJson = False) -> None:
    """Take in what came by mail or lies in followers.inbox, and send answers that wait.

    Of followers.inbox, picture and text are moved to taken/ there, and stay until the picture is
    taken down or its time is over; what cannot be taken is moved to refused/.
    Ends with 65 if something in the folder was refused.
    """
    from lapsekit.followers.opening import require_confinement

    opened = Season(season)
    require_confinement()
    wanted = opened.settings.followers
    if wanted.inbox is None and wanted.mail is None and wanted.answers is None:
        raise SettingsError(
            f"{season}: season.toml names neither followers.inbox nor [followers.mail], so there "
            "is nothing to look through"
        )
    is_whole = wanted.inbox is None or _take_in_folder(opened, as_json)
    if wanted.mail is not None or wanted.answers is not None:
        from lapsekit.followers.mail import take_in_mail

        mail = take_in_mail(opened)
        report_facts(as_json, telling.mail_taken_in(mail), asdict(mail))
        hint(telling.mail_problems(mail))
    if not is_whole:
        raise typer.Exit(NOT_ALL)


def _take_in_folder(opened: Season, as_json: bool) -> bool:
    """Take in what lies in the folder; whether all of it was."""
    from lapsekit.followers.folder import take_in_folder

    report = take_in_folder(opened)
    report_facts(as_json, telling.taken_in(report, sys.stdout.isatty()), _taken_facts(report))
    hint(telling.not_taken_in(report))
    return not (report.refused or report.problems)


def _taken_facts(report) -> dict[str, object]:
    taken = [
        {"file": name, "id": r.id, "code": r.code, "notes": r.notes} for name, r in report.taken
    ]
    return vars(report) | {"taken": taken}


@followers_app.command()
def show(record: Id, season: SeasonFolder = HERE) -> None:
    """Say yes to a picture: the next site shows it."""
    from lapsekit.followers.deciding import show

    say([f"{show(Season(season), record).id}: the next site shows it"])


@followers_app.command()
def decline(record: Id, season: SeasonFolder = HERE) -> None:
    """Say no to a picture; it is deleted some days later."""
    from lapsekit.followers.deciding import decline

    opened = Season(season)
    days = opened.settings.followers.keep_declined_days
    say([f"{decline(opened, record).id}: declined; it is deleted after {days} days"])


@followers_app.command()
def undo(record: Id, season: SeasonFolder = HERE) -> None:
    """Take a yes or a no back: the picture waits again, and the next site does not show it."""
    from lapsekit.followers.deciding import back_to_waiting

    say([f"{back_to_waiting(Season(season), record).id}: waits again"])


@followers_app.command("take-down")
def take_down(
    which: Annotated[str, typer.Argument(metavar="CODE|ID", help="The take-down code, or the id.")],
    season: SeasonFolder = HERE,
) -> None:
    """Delete a picture at once; the next site and the next copy are without it."""
    from lapsekit.followers.codes import as_code
    from lapsekit.followers.deciding import take_down, take_down_by_id
    from lapsekit.followers.gone import gone_ids
    from lapsekit.followers.originals import erase_originals

    opened = Season(season)
    if as_code(which) is None:
        take_down_by_id(opened, which)
    elif (which := take_down(opened, which)) is None:
        raise FollowerError("no picture has this code; it may be gone already, or mistyped")
    say([f"{which}: deleted; publish the site again, and make the next copy soon"])
    hint(erase_originals(opened, gone_ids(opened.folder)))


@followers_app.command()
def tidy(
    season: SeasonFolder = HERE,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would go, delete nothing.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Delete what was kept as long as season.toml says; the morning chain does."""
    from lapsekit.followers.retention import tidy

    report = tidy(Season(season), dry_run)
    report_facts(as_json, telling.tidied(report, dry_run), vars(report))


@followers_app.command()
def notice(
    season: SeasonFolder = HERE,
    out: Annotated[
        Path | None, typer.Option(help="A .md file to write.", show_default="print it")
    ] = None,
    language: Annotated[
        str | None, typer.Option(help="en or de.", show_default="the site's")
    ] = None,
) -> None:
    """Write a privacy notice as a draft; have it checked before you use it."""
    from lapsekit.followers.notice import notice
    from lapsekit.safely import require_place, write_safely

    text = notice(Season(season), language)
    if out is None:
        say([text.rstrip()])
        return
    require_place("--out", out, "md", "txt")
    if out.exists():
        raise SettingsError(
            f"--out {out}: is there already, with what you may have written; "
            "name another file, or move it away"
        )
    write_safely(out, text.encode())
    say([f"{out}: a draft. Have it checked, and fill in what is in [brackets]"])
