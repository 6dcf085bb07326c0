"""Stage: what was kept long enough -> gone."""

from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import timedelta

from lapsekit.errors import FollowerError
from lapsekit.followers.deciding import burn
from lapsekit.followers.gone import TIME_WAS_UP, finish, forget
from lapsekit.followers.originals import erase_originals
from lapsekit.followers.outbox import prune_outbox
from lapsekit.followers.records import FOLDER, Record, change, records, sweep, writing
from lapsekit.season import Season

ADDRESS_DELETED = "address deleted"
"""What a history says of it; no word of anybody's, so it lets nothing be kept longer."""


@dataclass
class TidyReport:
    """Ids of what went, or would go.

    Attributes
    ----------
    waited, declined : list of str
        Pictures that nobody decided on, or that were declined, deleted.
    contacts : list of str
        Records whose mail address and answers were deleted; the text beside the original that the
        grower put into the folder goes with them, since it may hold the address.
    problems : list of str
        Originals that cannot be deleted.
    """

    waited: list[str] = field(default_factory=list)
    declined: list[str] = field(default_factory=list)
    contacts: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


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
        due = _due(season, record)
        if due and (dry_run or _is_gone(season, record.id, due)):
            getattr(report, due).append(record.id)
    if not dry_run:
        report.problems += erase_originals(season, set(report.contacts), only_texts=True)
        report.problems += _end(season)
    return report


def _is_gone(season: Season, record_id: str, due: str) -> bool:
    """Delete what is due, unless it is so no more: somebody decided, answered or took it down."""

    def require(record: Record) -> None:
        if _due(season, record) != due:
            raise FollowerError(f"{record.id}: changed meanwhile, and is kept")

    def without_contact(record: Record) -> Record:
        require(record)
        return replace(record, contact="", answers=(), thread="", file_name="", token_hash="")

    try:
        if due == "contacts":
            change(season, record_id, ADDRESS_DELETED, without_contact)
        else:
            forget(season, record_id, TIME_WAS_UP, require)
    except FollowerError:
        return False
    return True


def _end(season: Season) -> list[str]:
    """Do what was cut off, and forget letters; what cannot be deleted."""
    for record in records(season, "shown"):
        if record.blurred:  # a yes that was cut off
            with suppress(FollowerError):  # it was taken down meanwhile
                burn(season, record.id)
    with writing(season):
        left = finish(season)
        sweep(season)
    prune_outbox(season)
    return left


def _due(season: Season, record: Record) -> str:
    """What of a record was kept long enough, as `TidyReport` calls it; "" for nothing."""
    wanted = season.settings.followers
    if record.state == "waiting" and _is_old(season, record, wanted.keep_waiting_days):
        return "waited"
    if record.state == "declined" and _is_old(season, record, wanted.keep_declined_days):
        return "declined"
    holds_address = bool(record.contact or record.answers)
    return "contacts" if holds_address and _is_old(season, record, wanted.keep_contact_days) else ""


def _is_old(season: Season, record: Record, days: int) -> bool:
    """Whether the last that follower or grower did with a picture was so many days ago."""
    done = [each.at for each in record.history if each.what != ADDRESS_DELETED]
    last = max([record.came_at, *done])
    return season.clock() - last > timedelta(days=days)
