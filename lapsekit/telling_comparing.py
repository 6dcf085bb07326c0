"""What the commands say about contrasts, plans and responses."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, inf, isfinite
from typing import TYPE_CHECKING

from lapsekit.counted import p_text

if TYPE_CHECKING:
    from lapsekit.contrasting import ContrastReport, PlanReport
    from lapsekit.growth.contrasts import Contrast
    from lapsekit.growth.responses import Effect, Response
    from lapsekit.responding import EventResponse
    from lapsekit.season import Season


def contrasted(report: ContrastReport) -> list[str]:
    """After ``contrast``: a sentence a pair, what it rests on, and what cannot be said."""
    lines = [f"{report.measure} ({report.unit}), one number a plant"]
    if report.alike_p is not None:
        lines.append(
            f"all {len(report.groups)} groups alike: p {p_text(report.alike_p)} (permutation)"
        )
    for found in report.contrasts:
        lines += _contrast(found)
    if len(report.contrasts) > 1:
        lines.append(f"p are corrected for {len(report.contrasts)} comparisons (Holm)")
    return [
        *lines,
        "plants of one pot or tray stand for themselves here; where a whole tray was treated, the "
        "tray's place may be what differs",
    ]


def _contrast(found: Contrast) -> list[str]:
    counts = f"{found.second_plants} against {found.first_plants} plants"
    lines = []
    if found.without_number:
        lines.append(f"  left out, without such a number: {', '.join(found.without_number)}")
    if found.estimate is None:
        return [f"{found.second} against {found.first}: {found.refusal}", *lines]
    size = _size(found, found.estimate)
    if found.low is not None:
        ends = " to ".join(
            _size(found, end).removesuffix(" per day") for end in (found.low, found.high)
        )
        by = ", if plants scatter normally" if found.interval_by == "Welch" else ""
        size += f" ({found.level:.0%} interval {ends}{by})"
    p = "" if found.p_corrected is None else f", p {p_text(found.p_corrected)}"
    head = f"{found.second} against {found.first}: {size}, {counts}{p}"
    verdict = "they differ" if found.is_claimed else "no difference shown"
    return [head, *lines, f"  {'no claim: ' + found.refusal if found.refusal else verdict}"]


def _size(found: Contrast, value: float) -> str:
    if not isfinite(value):
        return "unbounded"
    return f"× {exp(value):.3g}" if found.is_log else f"{value:+.4f} per day"


def planned(report: PlanReport) -> list[str]:
    """After ``plan``."""
    plan = report.plan
    lines = [f"scatter between plants treated alike: {plan.scatter:.0%} of the area"]
    if report.scatter is not None:
        own = report.scatter
        lines[0] += (
            f" at {report.age_days:g} days, this season's own (95 % interval {own.low:.0%} to "
            f"{own.high:.0%}, from {own.free} degrees of freedom)"
        )
    if plan.plants is None:
        lines.append(f"areas that differ by × {report.ratio:g}: more than 500 plants a side")
    else:
        lines.append(
            f"areas that differ by × {report.ratio:g} are found with {plan.plants} plants a side "
            f"in {plan.power:.0%} of trials"
        )
    lines.append(
        f"fewer than {plan.least_plants} a side can support no claim, whatever they do (3 against "
        "3: no p below 0.10)"
    )
    lines.append(f"smallest ratio found in {report.power:.0%} of trials:")
    lines += [
        f"  {n:3} a side  × {ratio:.2f}" if ratio < inf else f"  {n:3} a side  none"
        for n, ratio in report.smallest.items()
    ]
    return lines


def responses_told(found: Sequence[EventResponse], season: Season) -> list[str]:
    """After ``responses``: a sentence or two an event."""
    if not found:
        return ["the diary tells of nothing that was done to a plant"]
    titles = {r.name: r.title for r in season.regions.region}
    lines = []
    for each in found:
        what = f"{each.event.day} {titles.get(each.event.region, '') or 'Whole bench'}"
        told = each.refusal or _followed(each.response)
        lines.append(f"{what}, {each.event.what}: {told}.")
    asked = found[0].asked
    if asked:
        lines.append(
            f"Held against other plants on the same days; p are corrected for {asked} questions. "
            "What followed an event need not have come of it."
        )
    return lines


def _followed(found: Response) -> str:
    rate, step = _rate(found), _step(found)
    fell = step and found.step.estimate < 0
    if fell and found.is_claimed(found.rate) and found.rate.estimate > 0:
        rate += " (leaves that stand up again count as growth)"
    return "; ".join(filter(None, (rate, step)))


def _rate(found: Response) -> str:
    went = f"growth went from {found.before:.3f} to {found.after:.3f} per day"
    if found.rate is None:
        return f"{went}; too few plants of like size to hold that against"
    others = (
        f"that of {len(found.others)} others from {found.others_before:.3f} to "
        f"{found.others_after:.3f}"
    )
    if not found.is_claimed(found.rate):
        ends = f"{found.rate.low:+.3f} to {found.rate.high:+.3f}"
        return (
            f"{went}, {others}; no change of rate beyond theirs shown ({ends} per "
            f"day, p {p_text(found.rate.p_corrected)} among all asked)"
        )
    slower = "less" if found.rate.estimate < 0 else "more"
    return (
        f"{went}, {others}; {_gap(found.rate)} per day {slower} than theirs foretold, "
        f"p {p_text(found.rate.p_corrected)}"
    )


def _step(found: Response) -> str:
    if not found.is_claimed(found.step):
        return ""
    share, *ends = (exp(v) - 1 for v in (found.step.estimate, found.step.low, found.step.high))
    least, most = sorted(map(abs, ends))
    return (
        f"area {'fell' if share < 0 else 'rose'} at once by {abs(share):.0%} ({least:.0%} to "
        f"{most:.0%}) beyond that of {len(found.step_others)} others, "
        f"p {p_text(found.step.p_corrected)}"
    )


def _gap(effect: Effect) -> str:
    ends = sorted((abs(effect.low), abs(effect.high)))
    return f"{abs(effect.estimate):.3f} ({ends[0]:.3f} to {ends[1]:.3f})"
