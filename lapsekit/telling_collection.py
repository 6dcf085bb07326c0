"""What the command line says about a collection of seasons."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING, Any

from lapsekit.counted import counted, p_text
from lapsekit.plain import one_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lapsekit.collecting.groups import Compared
    from lapsekit.collecting.growth import CollectionGrowth
    from lapsekit.collecting.index_site import IndexReport
    from lapsekit.collecting.listing import SeasonRow
    from lapsekit.collecting.members import Broken

_FEW = 10


def listed(row: SeasonRow) -> list[str]:
    """One season: a line."""
    days = f"{row.first_day} to {row.last_day}" if row.first_day else "no days yet"
    told = [
        f"{row.key}: {one_line(row.title, 80)}",
        f"{counted(row.cameras, 'camera')}, {counted(row.regions, 'region')}",
        days,
        counted(row.frames, "frame"),
        f"measured to {row.measured_to}" if row.measured_to else "nothing measured",
        *([f"{row.waiting} wait"] if row.waiting else []),
        row.health + (f" ({row.told})" if row.told else ""),
    ]
    return ["; ".join(told)]


def measured(key: str, lines: Iterable[str]) -> list[str]:
    """One season: what measuring it says, under its name."""
    first, *rest = lines
    return [f"{key}: {first}", *(f"  {line}" for line in rest)]


def broken(found: Sequence[Broken]) -> list[str]:
    """Seasons that could not be used, each with why."""
    if not found:
        return []
    lines = [f"{counted(len(found), 'season')} could not be used:"]
    return lines + [f"  {each.key}: {line}" for each in found for line in each.why.splitlines()]


def grown(report: CollectionGrowth) -> list[str]:
    """After ``collection growth``: crops, groups, and what was written."""
    lines = [
        f"{counted(report.plants, 'plant')} of {counted(report.seasons, 'season')}, "
        f"{counted(report.days, 'day')} of plants"
    ]
    for crop, told in sorted(report.crops.items(), key=lambda item: (-item[1].plants, item[0])):
        area = ""
        if told.last_cm2:
            low, high = min(told.last_cm2), max(told.last_cm2)
            area = f", on its last day {median(told.last_cm2):.0f} cm² in the middle"
            area += f" ({low:.0f} to {high:.0f})" if len(told.last_cm2) > 1 else ""
        seasons = counted(len(told.seasons), "season")
        pauses = f", {counted(told.pauses, 'pause')}" if told.pauses else ""
        lines.append(f"{crop}: {counted(told.plants, 'plant')} in {seasons}{area}{pauses}")
    if report.without_scale:
        lines.append(f"{report.without_scale} without a scale: in the tables, not in the plot")
    for each in report.compared:
        lines += _compared(each)
    asked = sum(each.contrast.p is not None for each in report.compared)
    if asked > 1:
        lines.append(f"p are corrected for {asked} comparisons (Holm)")
    if asked:
        lines.append(
            "plants of one pot or tray stand for themselves here; where a whole tray was treated, "
            "its place on the bench may be what differs"
        )
    waiting = list(report.waiting.items())
    lines += [f"{key}: {n} frames wait; lapsekit collection measure" for key, n in waiting[:_FEW]]
    if len(waiting) > _FEW:
        lines.append(f"and {len(waiting) - _FEW} more seasons with frames that wait")
    return lines + [f"wrote {path}" for path in report.written]


def _compared(found: Compared) -> list[str]:
    c = found.contrast
    head = f"{c.second} against {c.first}"
    if c.estimate is None:
        return [f"{head}: not compared: {c.refusal}"]
    size = f"× {found.ratio(c.estimate):.3g}"
    if c.low is not None:
        ends = [found.ratio(c.low), found.ratio(c.high)]
        told = " to ".join("unbounded" if end is None else f"× {end:.3g}" for end in ends)
        size += f" ({c.level:.0%} interval {told})"
    p = "" if c.p_corrected is None else f", p {p_text(c.p_corrected)} by permutation"
    lines = [
        f"{head}, {c.measure}: {size} within {counted(len(found.blocks), 'season')}, "
        f"{c.second_plants} against {c.first_plants} plants{p}"
    ]
    if len(found.blocks) > 1:
        shown = [f"{key} × {ratio:.3g}" for key, ratio in list(found.blocks.items())[:_FEW]]
        lines.append("  in each: " + ", ".join(shown))
    if c.without_number:
        few = ", ".join(c.without_number[:_FEW])
        lines.append(f"  left out, without such a number: {few}")
    if found.is_cover:
        lines.append("  no season with both has a scale: a cover is the share of a plant's region")
    lines += [f"  {line}" for line in _left_out(found)]
    verdict = "they differ" if c.is_claimed else "no difference shown"
    return [*lines, f"  {'no claim: ' + c.refusal if c.refusal else verdict}"]


def _left_out(found: Compared | IndexReport) -> list[str]:
    """Seasons that do not count or are not shown, by reason."""
    by_reason: dict[str, list[str]] = {}
    for season, why in found.left_out.items():
        by_reason.setdefault(why, []).append(season)
    return [f"left out, {why}: {_some(seasons)}" for why, seasons in by_reason.items()]


def grown_facts(report: CollectionGrowth) -> dict[str, Any]:
    """The same as facts."""
    return {
        **{name: getattr(report, name) for name in ("seasons", "plants", "days", "waiting")},
        "without_scale": report.without_scale,
        "crops": {crop: vars(told) for crop, told in report.crops.items()},
        "compared": [
            {**vars(each.contrast), "by_season": each.blocks, "left_out": each.left_out}
            for each in report.compared
        ],
        "written": report.written,
    }


def indexed(report: IndexReport) -> list[str]:
    """After ``collection site``."""
    lines = [
        f"{counted(report.seasons, 'season')} on {counted(report.pages, 'page')}: "
        f"{len(report.written)} files new or changed, {report.unchanged} as they were, "
        f"{len(report.removed)} removed"
    ]
    lines += report.problems
    lines += _left_out(report)
    if report.left_out:
        lines.append(
            "to show one all the same, write on_index = true into its [[season]] of the "
            "collection's file: its pictures and days are then on the index"
        )
    if report.unlinked:
        lines.append(
            "without a link (give address under [site] of their season.toml, or run lapsekit site "
            f"and keep --out below the collection's file): {_some(report.unlinked)}"
        )
    if report.nearby:
        lines.append(
            "linked to the folder beside the index, which readers reach only if it is put up with "
            f"it: {_some(report.nearby)}"
        )
    return [*lines, f"open {report.front}"]


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - _FEW} more" if len(names) > _FEW else ""
    return ", ".join(names[:_FEW]) + more
