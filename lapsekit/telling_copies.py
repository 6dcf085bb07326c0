"""What the command line says about copies: reports in, lines of text out."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING

from lapsekit.counted import counted

if TYPE_CHECKING:
    from lapsekit.copying.drilling import DrillReport
    from lapsekit.copying.report import CopyReport
    from lapsekit.copying.restoring import RestoreReport

_FEW = 10


def copied(report: CopyReport, dry_run: bool) -> list[str]:
    """After ``copy``: one line where all is well."""
    if dry_run:
        return [
            f"would copy {counted(report.waiting, 'frame')} ({report.size / 1e6:.1f} MB) and what "
            f"has changed of the texts to {report.place}; {report.there} lie there by name and size"
        ]
    looked = (
        f"the content of {report.checked} compared again"
        if report.checked
        else "by name and size (--verify compares what is in them)"
    )
    lines = [
        f"copied {counted(report.frames, 'frame')} and {counted(report.texts, 'text')} "
        f"({report.size / 1e6:.1f} MB) to {report.place}; {counted(report.there, 'frame')} "
        f"there, {looked}"
    ]
    lines += _listed("sent again, since it was damaged or missing there", report.repaired)
    lines += _listed("kept there as it was before", report.kept)
    lines += _listed("deleted there, since it was taken down here", report.erased)
    lines += _listed(
        "no longer what it was when it was taken (the card may be failing), not copied",
        report.damaged_here,
    )
    lines += _listed("gone here, and damaged or missing there", report.lost)
    return lines + ([f"caution: {report.caution}"] if report.caution else [])


def drilled(report: DrillReport) -> list[str]:
    """After ``copy --drill``: whether the copies can be used."""
    part = f"{report.frames} of the {counted(report.copied, 'frame')} copied"
    frames = counted(report.frames, "frame") if report.frames == report.copied else part
    came = f"{frames} and {counted(report.texts, 'text')} came back"
    if report.is_whole:
        lines = [f"{came}, whole: the copies at {report.place} can be used"]
    else:
        lines = [f"{came} from {report.place}, and not all is whole there:"]
        lines += _listed("did not come back", report.missing)
        lines += _listed("came back with another content", report.damaged)
        lines += _listed("is no whole picture", report.unreadable)
        lines += _listed("is a damaged list", report.damaged_lists)
        lines.append("lapsekit copy --verify sends again what is whole here")
    lines += _listed("changed here since it was copied", report.changed_since)
    if report.waiting:
        lines.append(f"{counted(report.waiting, 'frame')} not copied yet")
    return lines


def restored(report: RestoreReport) -> list[str]:
    """After ``restore``: what came, what did not, and what to do next."""
    there = f" ({report.were_there} were here)" if report.were_there else ""
    lines = [
        f"restored {counted(report.frames, 'frame')} and {counted(report.texts, 'text')} "
        f"({report.size / 1e6:.1f} MB) from {report.place}{there}"
    ]
    lines += _listed("did not come back", report.missing)
    lines += _listed("is damaged there, left out", report.damaged)
    lines += _listed("holds something else here, left as it is", report.in_the_way)
    lines += _listed("is a damaged list", report.damaged_lists)
    lines += _listed("is of the copy before the last, which was cut off", report.outdated)
    lines += _listed("is in no list, brought back unchecked", report.unlisted)
    if report.indexed:
        lines += [f"not usable: {path}: {why}" for path, why in report.indexed.unreadable]
    if not report.is_whole:
        lines.append("the same command again tries those once more")
    season = shlex.quote(str(report.folder))
    return [
        *lines,
        f"next: lapsekit measure --season {season}",
        "passwords are not among the copies: put their files there again; and look through "
        "season.toml before anything of it runs on this machine",
    ]


def restore_facts(report: RestoreReport) -> dict[str, object]:
    """What ``restore --json`` prints."""
    facts = asdict(report) | {"whole": report.is_whole, "listed": len(report.listed)}
    return facts


def drill_facts(report: DrillReport) -> dict[str, object]:
    """What ``copy --drill --json`` prints."""
    return vars(report) | {"whole": report.is_whole}


def _listed(what: str, paths: Sequence[str]) -> list[str]:
    few = [f"{path}: {what}" for path in paths[:_FEW]]
    return few + ([f"and {len(paths) - _FEW} more"] if len(paths) > _FEW else [])
