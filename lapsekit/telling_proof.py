"""What ``lapsekit prove`` says of how right measurements are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from lapsekit.counted import counted

if TYPE_CHECKING:
    from lapsekit.growth.agreement import Agreement
    from lapsekit.proving import Proof
    from lapsekit.proving_strokes import StrokesProof
    from lapsekit.sighting import Sighting
    from lapsekit.vision.overlap import Overlap


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
    told = f"{found.strokes} strokes on {counted(found.frames, 'frame')}"
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
            f"{counted(placing.frames, 'usable frame')} refused"
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
