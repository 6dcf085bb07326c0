"""What the commands say that look after a season: ``check``, ``alert`` and ``trust``."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from lapsekit.posting import NO_ADDRESS

if TYPE_CHECKING:
    from lapsekit.checking import Finding
    from lapsekit.posting import Address
    from lapsekit.unattended.calls import CallReport


def checked(found: Sequence[Finding]) -> list[str]:
    """After ``check``: what is wrong first."""
    ranked = sorted(found, key=lambda each: ("wrong", "watch", "fine").index(each.how))
    return [f"{each.how:5}  {each.what}: {each.told}" for each in ranked]


OFF = (
    "alerts are off; write addresses as Apprise takes them into a file, one a line, run chmod 600 "
    "on it, and name it as to_file under [alerts] in season.toml"
)


def called(report: CallReport, dry_run: bool) -> list[str]:
    """After ``alert``."""
    if not report.is_on:
        return [OFF]
    lines = [f"stands: {each}" for each in report.standing] or ["nothing stands"]
    if report.text:
        verb = "would send" if dry_run else "message" if not report.sent else "sent"
        lines += [f"{verb}: {report.title}", *(f"  {line}" for line in report.text.splitlines())]
    elif report.is_quiet:
        lines.append("quiet hours: what there is to tell is told when they end")
    else:
        lines.append("nothing new to tell")
    fault = NO_ADDRESS if dry_run else "did not take it"
    lines += [f"{address} {fault}" for address in map(named, report.failed)]
    return lines + report.notes


def call_facts(report: CallReport) -> dict[str, object]:
    """What ``--json`` tells after ``alert``; no address."""
    return vars(report) | {"failed": [address_facts(each) for each in report.failed]}


def unsent(failed: Sequence[Address]) -> str:
    """Nobody took the message."""
    return (
        f"no message went out: {', '.join(map(named, failed))} did not take it. Check the network "
        "and the addresses; it is kept, and tried again by the next lapsekit alert"
    )


def tested(addresses: Sequence[Address], failed: Sequence[Address]) -> list[str]:
    """After ``alert --test``."""
    return [
        f"{named(each)}: {'did not take the test message' if each in failed else 'sent'}"
        for each in addresses
    ]


def named(address: Address) -> str:
    """An address without what is secret in it."""
    return f"address {address.number} ({address.kind}, line {address.line})"


def address_facts(address: Address) -> dict[str, object]:
    """The same for ``--json``."""
    return {"number": address.number, "kind": address.kind, "line": address.line}


def wishes_told(folder: Path, wishes: Sequence[str]) -> list[str]:
    """What a folder would do, if it were trusted."""
    if not wishes:
        return [f"{folder} runs nothing, sends nothing and deletes nothing as it stands"]
    return [f"{folder} would", *(f"  {wish}" for wish in wishes)]


def trusted(folder: Path, record: Path) -> list[str]:
    """After ``trust``."""
    return [
        f"trusted, and what is written into its settings later with it (in {record})",
        f"no longer: lapsekit trust --take-back {shlex.quote(str(folder))}",
    ]


def taken_back(folder: Path, records: Sequence[Path]) -> list[str]:
    """After ``trust --take-back``."""
    if not records:
        return [f"{folder} was not trusted"]
    return [f"{folder} is trusted no longer (in {', '.join(map(str, records))})"]


def not_recorded(folder: Path, error: Exception) -> list[str]:
    """A new season could not be trusted."""
    return [f"{error}; before a command camera or publishing: lapsekit trust {folder}"]
