"""What the command line says about films."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lapsekit.film.making import FilmReport
    from lapsekit.settings import Cut

_FEW = 5


def filmed(report: FilmReport) -> list[str]:
    """After ``film``."""
    length = f"{report.seconds:.1f} s, {report.pictures} pictures of {report.frames} frames"
    if report.made:
        encoded = f"{report.encoded} encoded now" if report.encoded else "put together anew"
        lines = [f"{report.path}: {length} ({encoded})"]
    else:
        lines = [f"{report.path} is up to date ({length})"]
    lines += [f"beside it: {path}" for path in report.files]
    lines += _listed("left out", report.left_out)
    lines += _listed("no time for this line of the diary", report.untold)
    if report.untold:
        lines.append('a larger day_seconds, or pace = "events", gives them time')
    return lines


def _listed(what: str, told: list[str]) -> list[str]:
    more = len(told) - _FEW
    return [f"{what}: {each}" for each in told[:_FEW]] + (
        [f"{what}: {more} more (--json lists all)"] if more > 0 else []
    )


def withdrawn(gone: Sequence[Path]) -> list[str]:
    """After films went that showed frames which are not to be used any more."""
    return [f"deleted, for it showed a frame that is not to be used (any more): {p}" for p in gone]


def cuts_listed(cuts: Mapping[str, Cut], files: Mapping[str, Path]) -> list[str]:
    """Each cut, what it shows and its file, or that it was not made yet."""
    made = {name: f"{file}" if file.exists() else "not made yet" for name, file in files.items()}
    return [f"{name}: {_described(cut)} ({made[name]})" for name, cut in cuts.items()]


def _described(cut: Cut) -> str:
    whom = f" of {', '.join(cut.regions)}" if cut.regions else ""
    length = (
        f"{cut.length_seconds:g} s in all"
        if cut.length_seconds is not None
        else f"{cut.day_seconds:g} s a day"
    )
    return (
        f"{cut.kind}{whom}, {cut.shape}, {cut.short_side_px} px, "
        f"{cut.frames_per_second} pictures a second, {length}"
    )
