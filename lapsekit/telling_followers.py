"""What the command line says about followers' pictures: records and reports in, lines out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from lapsekit.trust import printable

if TYPE_CHECKING:
    from lapsekit.followers.folder import FolderReport
    from lapsekit.followers.mail import MailReport
    from lapsekit.followers.records import Record
    from lapsekit.followers.retention import TidyReport


def listed(records: Sequence[tuple[Record, str | None]]) -> list[str]:
    """After ``followers list``: a line a picture, and what keeps it from being shown."""
    if not records:
        return ["no pictures of followers"]
    return [_line(record, why) for record, why in records]


def _line(record: Record, why: str | None) -> str:
    age = "" if record.age_days is None else f", day {record.age_days}"
    who = f"“{record.name}”" if record.name else "no name"
    plant = record.region or record.plant or "no plant"
    near = f"; nearly the same as {', '.join(record.near)}" if record.near else ""
    told = f"; cannot be shown: {why}" if why and record.state != "declined" else ""
    asked = "; asked again" if record.asked else ""
    return (
        f"{record.id} {record.state:8} {record.came_at:%Y-%m-%d} by {record.by}: {who}, "
        f"{plant}{age}{near}{asked}{told}"
    )


def facts(record: Record, why: str | None) -> dict[str, Any]:
    """One record for scripts: without addresses, hashes and answers."""
    return {
        "id": record.id,
        "state": record.state,
        "came_at": record.came_at,
        "by": record.by,
        "name": record.name,
        "plant": record.plant,
        "region": record.region,
        "sown": record.sown,
        "taken_on": record.taken_on,
        "age_days": record.age_days,
        "caption": record.caption,
        "near": list(record.near),
        "notes": list(record.notes),
        "asked": record.asked,
        "cannot_be_shown": why,
    }


def taken_in(report: FolderReport, with_codes: bool) -> list[str]:
    """After ``followers take-in``, of a folder; codes only where nothing keeps what is printed."""
    lines = []
    for name, received in report.taken:
        code = f"take-down code {received.code}" if with_codes else "its take-down code"
        lines.append(
            f"{name}: waits as {received.id}; {code} stands in the letter at the desk "
            "(lapsekit desk); give it to whoever sent it"
        )
        lines += [f"{name}: {note}" for note in received.notes]
    lines += [f"{name}: came before; moved to taken/" for name in report.known]
    lines += [f"{name}: left in the folder: {why}" for name, why in report.left]
    stay = {name for name, _ in report.left}
    if report.known or any(name not in stay for name, _ in report.taken):
        lines.append(
            "What was taken in lies in taken/ in the folder, as it came, until the picture is "
            "taken down or its time is over"
        )
    if report.others:
        lines.append(_of_others(report.others))
    return lines or ["nothing new in the folder"]


def _of_others(names: Sequence[str]) -> str:
    told = ", ".join(printable(name) for name in names[:5]) + (" …" if len(names) > 5 else "")
    return (
        f"{len(names)} left alone in the folder, as no pictures (.jpg, .png, .webp, .heic) and no "
        f"texts with a picture's name: {told}"
    )


def not_taken_in(report: FolderReport) -> list[str]:
    """What went wrong with some."""
    return [f"{name}: refused. {why}" for name, why in report.refused] + report.problems


def mail_taken_in(report: MailReport) -> list[str]:
    """After ``followers take-in``, of mail."""
    lines = [f"by mail: waits as {each}" for each in report.taken]
    lines += [f"by mail: {each} was taken down by its code" for each in report.taken_down]
    lines += [f"by mail: an answer about {each}" for each in report.answered]
    if report.unused:
        lines.append(f"by mail: {report.unused} messages without a picture or a code")
    if report.left:
        lines.append(f"by mail: {report.left} messages left, since too many pictures wait")
    if report.letters.sent:
        lines.append(f"{report.letters.sent} letters sent")
    if report.letters.waiting:
        lines.append(f"{report.letters.waiting} letters wait to be sent")
    return lines or ["nothing new by mail"]


def mail_problems(report: MailReport) -> list[str]:
    """What went wrong with some of the mail."""
    lines = [f"by mail: refused. {why}" for why in report.refused]
    if report.given_up:
        lines.append(
            f"by mail: {report.given_up} messages could not be read to their end, however "
            "often, and were moved away unread; look at them with a mail program"
        )
    return lines + report.letters.problems


def tidied(report: TidyReport, dry_run: bool) -> list[str]:
    """After ``followers tidy``."""
    verb = "would delete" if dry_run else "deleted"
    return [
        f"{verb} {len(report.waited)} that waited and {len(report.declined)} that were declined "
        f"too long, and the addresses of {len(report.contacts)}",
        *report.problems,
    ]
