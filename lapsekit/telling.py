"""What the command line says about what was done: reports in, lines of text out."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

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
    from lapsekit.growth.agreement import Agreement
    from lapsekit.listing import FrameRow, FramesReport
    from lapsekit.measuring import MeasureReport
    from lapsekit.proving import Proof
    from lapsekit.proving_strokes import StrokesProof
    from lapsekit.publishing import PublishReport
    from lapsekit.sighting import Sighting
    from lapsekit.site.build import SiteReport
    from lapsekit.unattended.morning import MorningReport
    from lapsekit.unattended.simulating import SimulationReport
    from lapsekit.vision.overlap import Overlap

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
    lines = [f"{verb} {_count(len(report.stored), 'frame')} (times without an offset: {zone})"]
    if dry_run:
        lines += _some(f"  {name}: {when}" for name, when in report.stored)
    if report.duplicates:
        lines.append(f"{would}skipped: {len(report.duplicates)} already there (same content)")
    if report.of_other_days:
        lines.append(f"{would}left alone: {len(report.of_other_days)} of other days")
    for why in dict.fromkeys(why for _, why in report.passed_over):
        names = [name for name, told in report.passed_over if told == why]
        lines.append(f"{would}passed over: {_count(len(names), 'file')}, {names[0]} for one: {why}")
    if report.aside:
        lines.append(
            f"{would}kept aside: {_count(len(report.aside), 'frame')} dated later than this "
            "machine's clock; check both clocks, then import the folder again:"
        )
        mark = ":" if dry_run else " ->"
        lines += _some(f"  {name}{mark} {kept}" for name, kept in report.aside)
    if report.refused:
        lines.append(f"{would}refused: {len(report.refused)}, left where they are:")
        lines += [f"  {name}: {why}" for name, why in report.refused]
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
        f"# from {found.boards} chessboards in {_count(found.pictures, 'picture')}; corners fit to "
        f"{found.lens.error_px:.2f} px; the picture's corners lie up to {found.bent_px:.0f} px off",
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
        f"measured {_count(report.measured, 'frame')} ({report.done_before} were up to date), "
        f"worked out {_count(report.days, 'daily value')}"
    ]
    if report.left_out:
        reasons = ", ".join(f"{n} {why}" for why, n in sorted(report.left_out.items()))
        lines.append(f"left out {sum(report.left_out.values())}: {reasons}")
    return lines + report.notes + _unreadable(report.unreadable)


def cluster_joined(machines: Machines) -> list[str]:
    """Before ``measure --on``: where it can be watched, and what is open."""
    lines = [
        f"{machines.address}: {_count(len(machines.workers()), 'worker')}; dashboard "
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
    lines = [f"{_count(facts['tasks'], 'task')} on {_count(facts['workers'], 'worker')}"]
    if facts["taken_from_tables"]:
        lines.append(
            f"{_count(facts['taken_from_tables'], 'frame')} taken from tables that an earlier run "
            "had finished"
        )
    return lines


def listed(report: FramesReport) -> list[str]:
    """After ``frames``: one line a frame, then how many were left out."""
    lines = [_frame_line(row) for row in report.rows]
    if report.not_listed:
        told = f"{_count(report.not_listed, 'earlier frame')} not listed"
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
        return [f"{report.left_out} of {_count(report.looked_at, 'frame')} left out"]
    judged = report.looked_at - report.not_judged
    waits = f"{report.not_judged} of {_count(report.looked_at, 'frame')} not judged yet; "
    told = [f"{report.left_out} of {_count(judged, 'frame')} left out"] if judged else []
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
    lines = [f"{daily.region} on {daily.day}: {value}, {_count(daily.frames_used, 'frame')} used"]
    lines += [f"  left out {path}: {why}" for path, why in found.left_out.items()]
    return [*lines, f"written: {found.path}"]


def published(report: PublishReport, dry_run: bool) -> list[str]:
    """After ``publish``."""
    if not report.sent and not report.removed:
        return [f"{report.place} is as it should be ({_count(report.unchanged, 'file')})"]
    would = "would send" if dry_run else "sent"
    lines = [
        f"{would} {_count(len(report.sent), 'file')} ({report.size / 1e6:.1f} MB) to "
        f"{report.place}; {report.unchanged} were there, {len(report.removed)} "
        f"{'would go' if dry_run else 'removed'}"
    ]
    if dry_run:
        lines += [f"  + {name}" for name in report.sent] + [f"  - {n}" for n in report.removed]
    if report.overwritten:
        verb = "would overwrite" if dry_run else "overwrote"
        lines.append(
            f"{verb} what lapsekit had not put there: {', '.join(report.overwritten[:10])}"
        )
    return lines + ([f"caution: {report.caution}"] if report.caution else [])


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
        f"note: {_count(frames, 'frame')} not measured by today's settings yet; "
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


def proved(proof: Proof, plot: Path | None) -> list[str]:
    """After ``prove``: a line a region, then all of them together."""
    lines = [
        f"measured against true daily area, days with at least {proof.least_cm2:g} cm²",
        f"{'region':20} {'days':>5} {'no value':>8} {'median':>8} {'bias':>8} {'95th':>8} "
        f"{'covered':>8} {'±':>7}  worst day",
    ]
    rows = {**proof.agreements, "all": proof.overall, "their growth curves": proof.curves}
    lines += [_agreed(name, found) for name, found in rows.items() if found.days]
    lines += [
        "median and 95th: of absolute errors; covered: days whose 95 % interval holds the truth; "
        "±: half of it, median",
    ]
    daily = proof.day_to_day
    if daily.regions:
        lines.append(
            f"from day to day errors scatter by {daily.scatter:.1%} and hang together by "
            f"{daily.correlation:.2f} (median of {daily.regions} regions)"
        )
    few = [name for name, found in proof.agreements.items() if not found.days]
    if few:
        lines.append(f"never that large: {', '.join(few)}")
    lines += ["", *_sighted(proof.sighting), *_stroked(proof.strokes, proof.least_cm2)]
    return lines + ([f"written: {plot}"] if plot else [])


def _stroked(found: StrokesProof | None, least_cm2: float) -> list[str]:
    """Lines of what strokes teach, for regions that grew large enough."""
    from lapsekit.proving_strokes import summed

    parts = (found.taught, found.others) if found else ({}, {})
    taught, others = ({n: summed(rows, least_cm2) for n, rows in part.items()} for part in parts)
    lines = [
        f"{name:20} {row.days:5} {row.dice:7.3f} {row.least_dice:7.3f} {row.dice_without:8.3f}"
        for name, row in taught.items()
        if row.days
    ]
    if not lines:
        return []
    spoilt = max((abs(row.change) for row in others.values() if row.days), default=0.0)
    told = f"{found.strokes} strokes on {_count(found.frames, 'frame')}"
    return [
        "",
        f"shapes by {told}, on all other days of {least_cm2:g} cm² and more",
        f"{'region':20} {'days':>5} {'Dice':>7} {'least':>7} {'without':>8}",
        *lines,
        f"areas of the other regions change by {spoilt:.1%} at most",
    ]


def _sighted(found: Sighting) -> list[str]:
    """Lines of how frames were judged, placed, and knocks told."""
    lines = [f"{'frames that are truly':20} {'frames':>7} {'left out':>8}  because"]
    for state, row in found.states.items():
        reasons = ", ".join(f"{n} {why}" for why, n in sorted(row.reasons.items()))
        lines.append(f"{state:21} {row.frames:7} {row.left_out:8}  {reasons}".rstrip())
    placing = found.placing
    if placing.median_px is not None:
        lines.append(
            f"placed against the true camera: median {placing.median_px:.3f} px, 95th "
            f"{placing.p95_px:.3f} px, worst {placing.worst_px:.3f} px; {placing.refused} of "
            f"{_count(placing.frames, 'usable frame')} refused"
        )
    for knock in found.knocks:
        told = "not told"
        if knock.told_at is not None:
            told = f"told as {knock.told_px:.2f} px, {knock.told_deg:+.3f}°"
        true = f"{knock.true_px:.2f} px, {knock.true_deg:+.3f}°"
        lines.append(f"knock before {knock.at:%Y-%m-%d %H:%M} UTC, truly {true}: {told}")
    return lines


def _agreed(name: str, found: Agreement) -> str:
    def share(value: float | None, sign: str = "") -> str:
        return "-" if value is None else f"{value:{sign}.1%}"

    worst = f"{found.worst_day} {share(found.worst_error, '+')}" if found.worst_day else "-"
    return (
        f"{name:20} {found.days:5} {found.without_value:8} {share(found.median_error):>8} "
        f"{share(found.bias, '+'):>8} {share(found.p95_error):>8} {share(found.covered):>8} "
        f"{share(found.half_width):>7}  {worst}"
    )


def proof_facts(proof: Proof) -> dict[str, object]:
    """What ``prove --json`` prints."""
    return {
        "least_cm2": proof.least_cm2,
        "overall": vars(proof.overall),
        "curves": vars(proof.curves),
        "day_to_day": vars(proof.day_to_day),
        "regions": {name: vars(found) for name, found in proof.agreements.items()},
        "days": {name: [vars(p) for p in pairs] for name, pairs in proof.by_region.items()},
        "frames": {state: vars(row) for state, row in proof.sighting.states.items()},
        "placing": vars(proof.sighting.placing),
        "knocks": [vars(knock) for knock in proof.sighting.knocks],
        "strokes": proof.strokes and asdict(proof.strokes),
    }


def photographs_judged(judged: Mapping[str, Mapping[str, Overlap]] | None) -> list[str]:
    """After ``prove --data``: a line for each method and group of photographs."""
    if judged is None:
        return []
    from lapsekit.photographs import DOI

    lines = [
        "",
        f"field photographs of wheat ({DOI}), each judged by a model that never saw its plot",
        f"{'':20} {'photos':>6} {'pooled IoU':>10} {'median IoU':>10} {'median Dice':>11} "
        f"{'area bias':>9} {'cover error':>11}",
    ]
    for method, groups in judged.items():
        lines.append(f"{method}:")
        lines += [
            f"  {group:18} {found.pictures:6} {found.pooled_iou:10.3f} {found.median_iou:10.3f} "
            f"{found.median_dice:11.3f} {found.area_bias:+9.1%} {100 * found.cover_error:8.1f} pp"
            for group, found in groups.items()
        ]
    return lines


def photograph_facts(judged: Mapping[str, Mapping[str, Overlap]] | None) -> dict[str, object]:
    """What ``prove --json`` adds about photographs; nothing where none were judged."""
    if judged is None:
        return {}
    from lapsekit.photographs import DOI

    told = {m: {g: vars(found) for g, found in groups.items()} for m, groups in judged.items()}
    return {"photographs": {"data": DOI, "agreement": told}}


def demonstrated(
    folder: Path, simulated: SimulationReport, film: FilmReport, final: MorningReport
) -> list[str]:
    """After the demo's building, before it serves."""
    return [
        f"{_count(simulated.filed, 'frame')} captured in simulated time",
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


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _some(lines: Iterable[str]) -> list[str]:
    lines = list(lines)
    rest = len(lines) - _FEW
    return lines if rest <= 0 else [*lines[:_FEW], f"  and {rest} more"]
