"""What the command line says about looking after the frames."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lapsekit.thinning import ThinReport


def thinned(report: ThinReport, dry_run: bool) -> list[str]:
    """After ``thin``."""
    verb = "would thin out" if dry_run else "thinned out"
    freed = f"{report.freed_bytes / 1e6:.1f} MB"
    lines = [f"{verb} {len(report.gone)} frames of {report.days} days ({freed})"]
    if dry_run:
        lines += [
            f"  {day['day']} {day['camera']}: {day['gone']} of {day['frames']} frames"
            for day in report.of_days
        ]
    if report.gone and not dry_run:
        lines.append("what they gave is in thinned/, which belongs to the season: keep it")
    if report.not_copied:
        lines.append(
            f"{report.not_copied} frames stay until a verified copy of them is elsewhere; "
            "lapsekit copy makes it"
        )
    if report.not_ready:
        lines.append(
            f"{report.not_ready} days stay whole until they are measured by today's settings; "
            "run lapsekit measure first"
        )
    return lines
