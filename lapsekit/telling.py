"""What the command line says about what was done: reports in, lines of text out."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from lapsekit.counted import counted, first_named
from lapsekit.telling_films import filmed

if TYPE_CHECKING:
    from datetime import date

    from lapsekit.calibrating import LensFound
    from lapsekit.clusters.measuring_there import MeasuringThere
    from lapsekit.clusters.spreading import Machines
    from lapsekit.explaining import Explained
    from lapsekit.film.making import FilmReport
    from lapsekit.frames.bringing_in import ImportReport
    from lapsekit.frames.indexing import IndexReport
    from lapsekit.listing import FrameRow, FramesReport
    from lapsekit.measuring import MeasureReport
    from lapsekit.publishing import PublishReport
    from lapsekit.season import Season
    from lapsekit.site.build import SiteReport
    from lapsekit.unattended.morning import MorningReport
    from lapsekit.unattended.simulating import SimulationReport

_FEW = 10
_FEW_PAGES = 4


def sown_ahead(day: date, today: date) -> str:
    """After ``new`` with a day that has not come."""
    return (
        f"sown {day} has not come yet (today is {today}): frames taken before it get no value "
        "unless `from` in regions.toml is an earlier day"
    )


def put_aside(catalogue: Path) -> str:
    """After ``index --rebuild`` where the catalogue was damaged."""
    return f"the damaged catalogue is kept as {catalogue}; run lapsekit measure next"


def founded(folder: Path, zone: str) -> list[str]:
    """After ``new``."""
    return [
        f"made {folder} (time zone {zone})",
        f"next: look through {folder / 'season.toml'}, then bring pictures in with",
        f"  lapsekit import PICTURES --camera bench --season {shlex.quote(str(folder))}",
        "or give [cameras.bench] a kind that takes pictures, for lapsekit capture and run",
    ]


def imported(report: ImportReport, zone: ZoneInfo, dry_run: bool) -> list[str]:
    """After ``import``."""
    would = "would be " if dry_run else ""
    verb = "would file" if dry_run else "filed"
    if not any(vars(report).values()):
        return ["no pictures (JPEG, PNG, WebP) found there"]
    lines = [f"{verb} {counted(len(report.stored), 'frame')} (times without an offset: {zone})"]
    if dry_run:
        lines += _some(f"  {name}: {when}" for name, when in report.stored)
    if report.duplicates:
        lines.append(f"{would}skipped: {len(report.duplicates)} already there (same content)")
    if report.of_other_days:
        lines.append(f"{would}left alone: {len(report.of_other_days)} of other days")
    for why in dict.fromkeys(why for _, why in report.passed_over):
        names = [name for name, told in report.passed_over if told == why]
        lines.append(
            f"{would}passed over: {counted(len(names), 'file')}, {names[0]} for one: {why}"
        )
    if report.aside:
        lines.append(
            f"{would}kept aside: {counted(len(report.aside), 'frame')} dated later than this "
            "machine's clock; check both clocks, then import the folder again:"
        )
        mark = ":" if dry_run else " ->"
        lines += _some(f"  {name}{mark} {kept}" for name, kept in report.aside)
    if report.refused:
        lines.append(f"{would}refused: {len(report.refused)}, left where they are:")
        first = {why: name for name, why in reversed(report.refused)}
        ordered = sorted(report.refused, key=lambda each: first[each[1]] != each[0])
        lines += _some(f"  {name}: {why}" for name, why in ordered)  # every reason before its like
    if max(map(len, (report.refused, report.aside, report.stored if dry_run else ()))) > _FEW:
        lines.append("--json lists them all")
    return lines


def captured(filed: list[str], already_there: list[str]) -> list[str]:
    """After ``capture``."""
    return [f"filed {path}" for path in filed] + [
        f"already there: {path}" for path in already_there
    ]


def unknown_camera(cameras: Iterable[str], name: str) -> str:
    """When a camera is named that season.toml has not."""
    return (
        f'no camera "{name}" to be used in season.toml; it has {", ".join(cameras)}. '
        f'For another, add:\n[cameras.{name}]\nkind = "files"'
    )


def indexed(report: IndexReport) -> list[str]:
    """After ``index``."""
    lines = [f"{report.added} added, {report.forgotten} forgotten (their files are gone)"]
    return lines + _unreadable(report.unreadable)


def masked(out: Path, cover: float) -> list[str]:
    """After ``mask``."""
    return [f"cover {cover:.2%}", f"mask written to {out}"]


def grey_masked(frame: Path) -> list[str]:
    """Beside ``mask``, where a picture has no colours."""
    return [
        f"{frame}: a picture without colours, as cameras take them by infrared light at night; "
        "plants cannot be told from the rest in it, take one by daylight"
    ]


def lens_found(found: LensFound, camera: str) -> list[str]:
    """After ``lens``: what to put into season.toml, and what it rests on."""
    return [
        f"# from {found.boards} chessboards in {counted(found.pictures, 'picture')}; corners fit "
        f"to {found.lens.error_px:.2f} px; the picture's corners lie up to {found.bent_px:.0f} px "
        "off",
        found.as_toml(camera),
    ]


def measured(report: MeasureReport) -> list[str]:
    """After ``measure``."""
    if not report.measured and not report.done_before and not report.unreadable:
        return ["no frames yet; lapsekit import brings pictures in, lapsekit capture takes one"]
    if not report.measured and not report.days:
        lines = [f"nothing to measure: all {report.done_before} frames are up to date"]
        return lines + report.notes + _unreadable(report.unreadable)
    lines = [
        f"measured {counted(report.measured, 'frame')} ({report.done_before} were up to date), "
        f"worked out {counted(report.days, 'daily value')}"
    ]
    if report.left_out:
        reasons = ", ".join(f"{n} {why}" for why, n in sorted(report.left_out.items()))
        which = f"{report.frames_left_out} of the season's {counted(report.frames, 'frame')}"
        lines.append(f"left out {which}: {reasons}")
    return lines + report.notes + _unreadable(report.unreadable)


def cluster_joined(machines: Machines) -> list[str]:
    """Before ``measure --on``: where it can be watched, and what is open."""
    lines = [
        f"{machines.address}: {counted(len(machines.workers()), 'worker')}; dashboard "
        f"{machines.dashboard}"
    ]
    if not machines.is_private:
        lines.append(
            "caution: without TLS everybody who reaches this scheduler can run programs on its "
            "workers, and read what they are sent"
        )
    return lines


def cluster_facts(there: MeasuringThere) -> dict[str, Any]:
    """What a cluster did, as facts."""
    machines = there.machines
    return {
        "address": machines.address,
        "dashboard": machines.dashboard,
        "workers": len(machines.workers()),
        "tasks": machines.tasks,
        "taken_from_tables": there.taken,
    }


def measured_there(facts: dict[str, Any]) -> list[str]:
    """After ``measure --on``."""
    lines = [f"{counted(facts['tasks'], 'task')} on {counted(facts['workers'], 'worker')}"]
    if facts["taken_from_tables"]:
        lines.append(
            f"{counted(facts['taken_from_tables'], 'frame')} taken from tables that an earlier run "
            "had finished"
        )
    return lines


def listed(report: FramesReport) -> list[str]:
    """After ``frames``: one line a frame, then how many were left out."""
    lines = [_frame_line(row) for row in report.rows]
    if report.not_listed:
        told = f"{counted(report.not_listed, 'earlier frame')} not listed"
        lines.insert(0, f"{told}; --all lists them, --from and --until choose days")
    lines += _left_out(report)
    unwatched = sum(row.usable and not row.watched for row in report.rows)
    if unwatched:
        lines.append(
            f"{unwatched} of those used had too few others to compare with: nobody looked for "
            "people in them"
        )
    if report.sheet:
        lines.append(f"contact sheet written to {report.sheet}")
    return lines


def _left_out(report: FramesReport) -> list[str]:
    if not report.not_judged:
        return [f"{report.left_out} of {counted(report.looked_at, 'frame')} left out"]
    judged = report.looked_at - report.not_judged
    waits = f"{report.not_judged} of {counted(report.looked_at, 'frame')} not judged yet; "
    told = [f"{report.left_out} of {counted(judged, 'frame')} left out"] if judged else []
    return [*told, f"{waits}run lapsekit measure"]


def ruled(frames: list[str], use: bool) -> list[str]:
    """After ``frames use`` and ``frames hold``."""
    said = "used from now on" if use else "used nowhere from now on"
    again = "lapsekit site and lapsekit film follow it; verdicts.csv holds your word"
    return [*(f"{path}: {said}" for path in frames), again]


def _frame_line(row: FrameRow) -> str:
    return f"{row.taken_at:%Y-%m-%d %H:%M}  {row.path}  {row.told or 'used'}"


def explained(found: Explained) -> list[str]:
    """After ``explain``: the value, what was left out, where the picture is."""
    daily = found.daily
    if daily.area_cm2 is not None:
        value = f"{daily.area_cm2:.1f} cm² ({daily.area_low_cm2:.1f} to {daily.area_high_cm2:.1f})"
    elif daily.cover is not None:
        value = f"cover {daily.cover:.1%} ({daily.cover_low:.1%} to {daily.cover_high:.1%})"
    else:
        value = "no value: no usable frame"
    lines = [f"{daily.region} on {daily.day}: {value}, {counted(daily.frames_used, 'frame')} used"]
    lines += [f"  left out {path}: {why}" for path, why in found.left_out.items()]
    return [*lines, f"written: {found.path}"]


def published(report: PublishReport, dry_run: bool) -> list[str]:
    """After ``publish``."""
    if not report.sent and not report.removed:
        how = (
            "with the content they should have"
            if report.compared
            else "by name and size (--verify compares what is in them)"
        )
        return [
            f"nothing to send to {report.place}: {counted(report.unchanged, 'file')} there, {how}"
        ]
    would = "would send" if dry_run else "sent"
    lines = [
        f"{would} {counted(len(report.sent), 'file')} ({report.size / 1e6:.1f} MB) to "
        f"{report.place}; {report.unchanged} were there, {len(report.removed)} "
        f"{'would go' if dry_run else 'removed'}"
    ]
    if dry_run:
        lines += [f"  + {name}" for name in report.sent] + [f"  - {n}" for n in report.removed]
    if report.amiss:
        few = first_named(report.amiss, _FEW_PAGES)
        lines.append(f"gone or changed there since it was put there: {few}")
    if report.overwritten:
        verb = "would overwrite" if dry_run else "overwrote"
        lines.append(
            f"{verb} what lapsekit had not put there: {', '.join(report.overwritten[:10])}"
        )
    return lines + ([f"caution: {report.caution}"] if report.caution else [])


def site_as_it_lies(season: Season) -> str:
    """Before what a publication would send: a dry run builds nothing."""
    next_step = (
        "lapsekit site brings it up to date, as lapsekit publish does first"
        if season.is_writable
        else "lapsekit publish builds it anew first, where its season folder can be written to"
    )
    return f"{season.site}: looked at as it was last built; {next_step}"


def waiting(frames: int, is_judged: bool) -> list[str]:
    """A caution before what is made of measurements that are not up to date."""
    if not frames:
        return []
    if not is_judged:
        return [
            "note: frames or verdicts on them changed since days were worked out; run lapsekit "
            "measure first for all days"
        ]
    return [
        f"note: {counted(frames, 'frame')} not measured by today's settings yet; "
        "run lapsekit measure first for all days"
    ]


def built(report: SiteReport) -> list[str]:
    """After ``site``."""
    wrote = _by_kind(report.written) or "nothing changed"
    return [
        f"site {report.front.parent}: {wrote}; {report.unchanged} files unchanged, "
        f"{len(report.removed)} removed",
        *report.problems,
    ]


def _by_kind(paths: list[str]) -> str:
    """``3 pages, 12 pictures, 2 other files written``; empty for none."""
    pages = [path for path in paths if path.endswith(".html")]
    pictures = [path for path in paths if path.endswith((".avif", ".jpg"))]
    counts = {
        "page": len(pages),
        "picture": len(pictures),
        "other file": len(paths) - len(pages) - len(pictures),
    }
    told = [f"{n} {kind}{'' if n == 1 else 's'}" for kind, n in counts.items() if n]
    named = f" ({', '.join(pages)})" if 0 < len(pages) <= _FEW_PAGES else ""
    return f"{', '.join(told)} written{named}" if told else ""


def demonstrated(
    folder: Path, simulated: SimulationReport, film: FilmReport, final: MorningReport
) -> list[str]:
    """After the demo's building, before it serves."""
    return [
        f"{counted(simulated.filed, 'frame')} captured in simulated time",
        *([] if simulated.filed else simulated.failed[-1:]),
        *filmed(film),
        *built(final.site),
        f"growth tables and plot: {folder / 'growth'}",
    ]


def how_to_see(folder: Path) -> list[str]:
    """After a demo that does not serve."""
    return [f"to see the site: lapsekit serve --season {shlex.quote(str(folder))}"]


def served(address: str) -> list[str]:
    """When the site is being served."""
    return [f"open {address} (this machine only; stop with Ctrl+C)"]


def _unreadable(files: list[tuple[str, str]]) -> list[str]:
    if not files:
        return []
    return [
        "not readable as whole pictures, left where they are:",
        *(f"  {p}: {why}" for p, why in files),
    ]


def _some(lines: Iterable[str]) -> list[str]:
    lines = list(lines)
    rest = len(lines) - _FEW
    return lines if rest <= 0 else [*lines[:_FEW], f"  and {rest} more"]
