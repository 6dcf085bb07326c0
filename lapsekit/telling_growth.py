"""What the commands say about diary, weather, contrasts, plans and responses."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, inf, isfinite
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from lapsekit.contrasting import ContrastReport, PlanReport
    from lapsekit.diary import Event
    from lapsekit.growth.contrasts import Contrast
    from lapsekit.growth.responses import Effect, Response
    from lapsekit.growth.weather import WeatherDay
    from lapsekit.logger_file import Columns, WeatherBrought
    from lapsekit.noticing import Noticed, NoticedLoss, NoticedPause
    from lapsekit.noting import Diary
    from lapsekit.responding import EventResponse
    from lapsekit.season import Season

_FEW = 20


def noted(events: Sequence[Event]) -> list[str]:
    """After ``diary add``."""
    return [f"noted: {_event(event)}" for event in events]


def diary_told(found: Diary) -> list[str]:
    """After ``diary``: one line an event."""
    if not found.events:
        return ['no events yet; lapsekit diary add DATE "potted on" --region NAME writes one']
    return [_event(event) for event in found.events]


def diary_facts(found: Diary) -> dict[str, object]:
    """What ``diary --json`` prints."""
    return {"events": [event_facts(e) for e in found.events], "problems": found.problems}


def event_facts(event: Event) -> dict[str, object]:
    """One event, with the figures its note tells."""
    return {
        "date": event.day,
        "region": event.region or None,
        "event": event.what,
        "note": event.note,
        "bbch": event.bbch,
        "weight_g": event.weight_g,
    }


def _event(event: Event) -> str:
    note = f" ({event.note})" if event.note else ""
    return f"{event.day}  {event.region or 'whole bench':16}  {event.what}{note}"


def weather_brought(
    brought: WeatherBrought, columns: Columns, zone: ZoneInfo, dry_run: bool
) -> list[str]:
    """After ``weather FILE``: what was understood, what became of it, what was refused."""
    found, laid = brought.found, brought.laid
    named = ", ".join(f"{value} from {name!r}" for value, name in columns.by_value.items())
    lines = [
        f"understood: columns between {found.separator}, named in line {found.header_line}; "
        f"decimal {found.decimal}; {found.encoding}",
        f"understood: {named}; time from {columns.time!r}, {_times(found, zone)}",
    ]
    if columns.fahrenheit:
        lines.append("understood: temperatures in °F, stored in °C")
    if found.readings:
        first, last = (r.at.astimezone(zone) for r in (found.readings[0], found.readings[-1]))
        lines.append(
            f"{_count(found.rows, 'row')}, {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}"
        )
    verb = "would add" if dry_run else "added"
    lines.append(f"{verb} {_count(laid.added, 'reading')}; {laid.there} were there already")
    if laid.filled:
        lines.append(f"{laid.filled} known moments get a value they lacked")
    if laid.kept:
        lines.append(f"{len(laid.kept)} differ from what weather.csv says, which stays as it is:")
        lines += few(
            [
                f"  {at:%Y-%m-%d %H:%M} UTC, {name}: {old:g} there, {new:g} in the file"
                for at, name, old, new in laid.kept
            ]
        )
    return lines


def weather_refused(file: object, brought: WeatherBrought) -> list[str]:
    """Cells that were refused, by file, line, column and value; all of them."""
    return [
        f'{file}: line {each.line}, {each.column} = "{each.value}" {each.why}'
        for each in brought.found.refused
    ]


def few(lines: Sequence[str]) -> list[str]:
    """The first of many lines, and how many more there are."""
    rest = len(lines) - _FEW
    return list(lines) if rest <= 0 else [*lines[:_FEW], f"and {rest} more; --json lists them all"]


def _times(found: object, zone: ZoneInfo) -> str:
    own = found.with_offset
    if own and own == len(found.readings):
        return "each with its own offset"
    return f"in {zone}" + (f", {own} with their own offset" if own else "")


def weather_told(
    days: Sequence[WeatherDay],
    sums: Sequence[float | None],
    flags: Sequence[tuple[str, ...]],
    cautions: dict[str, str],
) -> list[str]:
    """After ``weather`` without a file: one line a day, then what its flags mean."""
    if not days:
        return ["no readings yet; lapsekit weather FILE --time COLUMN --temp COLUMN brings them in"]
    lines = [
        f"{'day':10}  {'lowest':>6} {'highest':>7} {'mean':>6}  {'°C·days':>7}  {'VPD kPa':>7}  "
        f"{'light mol':>9}"
    ]
    lines += [
        f"{d.day}  {_number(d.min_c):>6} {_number(d.max_c):>7} {_number(d.mean_c):>6}  "
        f"{_number(total):>7}  {_number(d.vpd_kpa, 2):>7}  {_number(d.light_mol):>9}  "
        f"{', '.join(told)}".rstrip()
        for d, total, told in zip(days, sums, flags, strict=True)
    ]
    seen = [flag for flag in cautions if any(flag in told for told in flags)]
    return lines + [f"{flag}: {cautions[flag]}" for flag in seen]


def contrasted(report: ContrastReport) -> list[str]:
    """After ``contrast``: a sentence a pair, what it rests on, and what cannot be said."""
    lines = [f"{report.measure} ({report.unit}), one number a plant"]
    if report.alike_p is not None:
        lines.append(f"all {len(report.groups)} groups alike: p {_p(report.alike_p)} (permutation)")
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
    p = "" if found.p_corrected is None else f", p {_p(found.p_corrected)}"
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
    return "; ".join(filter(None, (_rate(found), _step(found))))


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
            f"day, p {_p(found.rate.p_corrected)} among all asked)"
        )
    slower = "less" if found.rate.estimate < 0 else "more"
    return (
        f"{went}, {others}; {_gap(found.rate)} per day {slower} than theirs foretold, "
        f"p {_p(found.rate.p_corrected)}"
    )


def _step(found: Response) -> str:
    if not found.is_claimed(found.step):
        return ""
    share, *ends = (exp(v) - 1 for v in (found.step.estimate, found.step.low, found.step.high))
    least, most = sorted(map(abs, ends))
    return (
        f"area {'fell' if share < 0 else 'rose'} at once by {abs(share):.0%} ({least:.0%} to "
        f"{most:.0%}) beyond that of {len(found.step_others)} others, "
        f"p {_p(found.step.p_corrected)}"
    )


def _gap(effect: Effect) -> str:
    ends = sorted((abs(effect.low), abs(effect.high)))
    return f"{abs(effect.estimate):.3f} ({ends[0]:.3f} to {ends[1]:.3f})"


def _p(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.3f}" if value < 0.1 else f"{value:.2f}"


def _number(value: float | None, places: int = 1) -> str:
    return "-" if value is None else f"{value:.{places}f}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def noticed(found: Noticed, season: Season) -> list[str]:
    """After ``growth``: a sentence for every pause and every sudden loss."""
    titles = {region.name: region.title for region in season.regions.region}
    lines = [_paused(titles[p.region], p) for p in found.pauses]
    lines += [_lost(titles[one.region], one) for one in found.losses]
    if lines:
        lines.append("What lay before a change need not have caused it.")
    return lines


def _paused(title: str, found: NoticedPause) -> str:
    from lapsekit.noticing import day_of

    p = found.pause
    length = f"{p.length_days:.0f} days ({p.length_low:.0f} to {p.length_high:.0f})"
    if found.others_paused:
        others = f"{found.others_paused} of {found.others} other plants paused too"
    else:
        others = f"none of {found.others} other plants paused"
    return (
        f"{title}: growth paused for {length}, from {day_of(p.start)} to {day_of(p.end)}"
        f"{_behind(found.event)}; {others}."
    )


def _lost(title: str, found: NoticedLoss) -> str:
    from lapsekit.noticing import day_of

    loss = found.loss
    share = f"{loss.share:.0%} ({loss.share_low:.0%} to {loss.share_high:.0%})"
    back = "not back so far"
    if loss.recovered_days is not None:
        back = f"back after {loss.recovered_days} days"
        if loss.recovered_low is not None and loss.recovered_high is not None:
            back += f" ({loss.recovered_low} to {loss.recovered_high})"
    others = f"none of {found.others} other plants lost then"
    if found.others_lost:
        others = f"{found.others_lost} of {found.others} other plants lost then too"
    return (
        f"{title}: {share} of the canopy went between {day_of(loss.since)} and "
        f"{day_of(loss.day)}{_behind(found.event)}; {others}; {back}."
    )


def _behind(event: Event | None) -> str:
    if event is None:
        return ""
    return f', after "{event.what}" on {event.day}'


def noticed_facts(found: Noticed) -> dict[str, object]:
    """What ``growth --json`` adds; days are counted as `datetime.date.toordinal` does."""
    return {
        "pauses": [
            {"region": p.region, "after": p.event and event_facts(p.event), **vars(p.pause)}
            | {"others_paused": p.others_paused, "others": p.others}
            for p in found.pauses
        ],
        "losses": [
            {"region": x.region, "after": x.event and event_facts(x.event), **vars(x.loss)}
            | {"others_lost": x.others_lost, "others": x.others}
            for x in found.losses
        ],
    }
