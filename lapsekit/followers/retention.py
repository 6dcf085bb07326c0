"""Stage: what was kept long enough -> gone."""

from dataclasses import dataclass, field, replace
from datetime import timedelta

from lapsekit.followers.deciding import burn
from lapsekit.followers.gone import TIME_WAS_UP, finish, forget
from lapsekit.followers.records import FOLDER, Record, change, records, sweep, writing
from lapsekit.season import Season


@dataclass
class TidyReport:
    """Ids of what went, or would go.

    Attributes
    ----------
    waited, declined : list of str
        Pictures that nobody decided on, or that were declined, deleted.
    contacts : list of str
        Records whose mail address and answers were deleted.
    """

    waited: list[str] = field(default_factory=list)
    declined: list[str] = field(default_factory=list)
    contacts: list[str] = field(default_factory=list)


def tidy(season: Season, dry_run: bool = False) -> TidyReport:
    """Delete pictures and addresses that were kept as long as season.toml says.

    Parameters
    ----------
    season : Season
    dry_run : bool
        Find out what would go, and delete nothing.

    Returns
    -------
    TidyReport
    """
    report = TidyReport()
    if not (season.folder / FOLDER).is_dir():
        return report
    for record in records(season):
        if _has_expired(season, record):
            (report.waited if record.state == "waiting" else report.declined).append(record.id)
        elif (record.contact or record.answers) and _is_old(
            season, record, season.settings.followers.keep_contact_days
        ):
            report.contacts.append(record.id)
    if not dry_run:
        _do(season, report)
    return report


def _do(season: Season, report: TidyReport) -> None:
    for record_id in (*report.waited, *report.declined):
        forget(season, record_id, TIME_WAS_UP)
    for record_id in report.contacts:
        change(season, record_id, "address deleted", _without_contact)
    for record in records(season, "shown"):
        if record.blurred:  # a yes that was cut off
            burn(season, record.id)
    with writing(season):
        finish(season)
        sweep(season)


def _has_expired(season: Season, record: Record) -> bool:
    wanted = season.settings.followers
    if record.state == "waiting":
        return _is_old(season, record, wanted.keep_waiting_days)
    if record.state == "declined":
        return _is_old(season, record, wanted.keep_declined_days)
    return False


def _is_old(season: Season, record: Record, days: int) -> bool:
    """Whether the last word about a picture was so many days ago."""
    last = max([record.came_at, *(each.at for each in record.history)])
    return season.clock() - last > timedelta(days=days)


def _without_contact(record: Record) -> Record:
    return replace(record, contact="", answers=(), thread="", file_name="", token_hash="")
