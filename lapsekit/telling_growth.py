"""What the commands say about diary, weather, contrasts, plans and responses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, inf, isfinite
from typing import TYPE_CHECKING

from lapsekit.language.words import ENGLISH
from lapsekit.site.wording import doubling_text, loss_text, pause_text
from lapsekit.when import day_of

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from lapsekit.alerting import Alert
    from lapsekit.besides import BesideReport
    from lapsekit.contrasting import ContrastReport, PlanReport
    from lapsekit.diary import Event
    from lapsekit.foretelling import Foretold, Reached
    from lapsekit.growth.contrasts import Contrast
    from lapsekit.growth.responses import Effect, Response
    from lapsekit.growth.weather import WeatherDay
    from lapsekit.growth_tables import GrowthRow
    from lapsekit.logger_file import Columns, WeatherBrought
    from lapsekit.noticing import Noticed
    from lapsekit.noting import Diary
    from lapsekit.reporting import GrowthReport
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
    weight = "" if event.weight_g is None else f"; counts as {event.weight_g:g} g"
    note = f" ({event.note}{weight})" if event.note else ""
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


def _no_values(season: Season) -> list[str]:
    """Why there is nothing to tell of, as far as that can be seen."""
    from lapsekit.measuring import frames_waiting, unoutlined

    if not season.regions.region:
        return ["no daily values: regions.toml has no region; lapsekit propose finds some"]
    causes = [] if frames_waiting(season) else unoutlined(season)
    return causes or ["no daily values yet; run lapsekit measure first"]


def grown(report: GrowthReport, season: Season) -> list[str]:
    """After ``growth``: a line a region, what was noticed, what lies ahead, where the files are."""
    from lapsekit.unattended.news import look_sentences

    if not report.rows:
        return _no_values(season)
    lines = [f"{'region':24} {'day':10}  {'canopy':>9}  RGR per day (95 %)"]
    for region in season.regions.region:
        rows = [r for r in report.by_region[region.name] if r.frames_used]
        if rows:
            lines.append(_summary(region.title, rows[-1]))
    sections = (
        look_sentences(season, report.alerts),
        noticed(report.noticed, season),
        foretold(report.foretold, season),
    )
    lines += [line for section in sections if section for line in ("", *section)]
    return [*lines, "", f"written: {', '.join(p.name for p in report.written)} in {season.tables}"]


def alert_facts(found: Sequence[Alert]) -> list[dict[str, object]]:
    """What ``--json`` tells of alerts."""
    return [
        {"region": a.region, "after": a.event and event_facts(a.event), **vars(a.fall)}
        | {"since": day_of(a.fall.since), "day": day_of(a.fall.day)}
        for a in found
    ]


def _summary(title: str, row: GrowthRow) -> str:
    size = f"{row.cover:.1%}" if row.area_cm2 is None else f"{row.area_cm2:.1f} cm²"
    rate, doubling = "not enough days yet", ""
    if row.rgr_per_day is not None:
        rate = f"{row.rgr_per_day:+.3f} ({row.rgr_low:+.3f} to {row.rgr_high:+.3f})"
        doubling = doubling_text(ENGLISH, row.doubling_days)
    return f"{title:24} {row.day}  {size:>9}  {rate:26} {doubling}".rstrip()


def foretold(found: Mapping[str, Foretold], season: Season) -> list[str]:
    """What can be said of final areas and of days on which covers are reached."""
    titles = {region.name: region.title for region in season.regions.region}
    lines = []
    for name, told in found.items():
        parts = []
        if told.final is not None:
            f = told.final
            ends = f"{f.low_cm2:.0f} to {f.high_cm2:.0f}"
            parts.append(f"levels off at {f.area_cm2:.0f} cm² ({ends}) by {f.by} growth")
        parts += [text for text in map(_reached, told.reached) if text]
        if parts:
            lines.append(f"{titles[name]}: {'; '.join(parts)}.")
    if lines:
        lines.append(
            "Final areas and days to come hold if growth goes on as it did; where nothing is told, "
            "the days do not support it (laws.csv and reached.csv say why)."
        )
    return lines


def _reached(found: Reached) -> str:
    if found.day is None:
        return ""
    what = "canopy closed" if found.cover == 1 else f"cover of {found.cover:.0%}"
    first = ENGLISH.short_day(found.day_low) if found.day_low else "earlier"
    ends = (
        f"{first} to {ENGLISH.short_day(found.day_high)}" if found.day_high else f"{first} or later"
    )
    how = "" if found.by == "measured" else f" by {found.by} growth"
    note = f", {found.note}" if found.note else ""
    return f"{what} on {ENGLISH.short_day(found.day)} ({ends}){how}{note}"


def foretold_facts(found: Mapping[str, Foretold]) -> dict[str, object]:
    """What ``growth --json`` adds of laws and covers."""
    return {
        "laws": {
            name: [
                {"law": fit.law, "weight": weight, "parameters": dict(fit.parameters),
                 "errors": dict(fit.errors), "aicc": fit.aicc, "asymptote_cm2": fit.asymptote,
                 "asymptote_low_cm2": fit.asymptote_low,
                 "asymptote_high_cm2": fit.asymptote_high, "refusal": fit.refusal}
                for fit, weight in zip(told.compared.fits, told.compared.weights, strict=True)
            ]
            for name, told in found.items()
        },
        "final": {name: told.final and vars(told.final) for name, told in found.items()},
        "reached": {name: [vars(r) for r in told.reached] for name, told in found.items()},
    }  # fmt: skip


def noticed(found: Noticed, season: Season) -> list[str]:
    """After ``growth``: a sentence for every pause and every sudden loss."""
    titles = {region.name: region.title for region in season.regions.region}
    lines = [f"{titles[p.region]}: {pause_text(ENGLISH, p)}." for p in found.pauses]
    lines += [f"{titles[one.region]}: {loss_text(ENGLISH, one)}." for one in found.losses]
    if lines:
        lines.append("What lay before a change need not have caused it.")
    return lines


def noticed_facts(found: Noticed) -> dict[str, object]:
    """What ``growth --json`` adds."""
    days = {"start", "start_low", "start_high", "end", "end_low", "end_high", "since", "day"}

    def dated(facts: dict[str, object]) -> dict[str, object]:
        return {n: day_of(value) if n in days else value for n, value in facts.items()}

    return {
        "pauses": [
            {"region": p.region, "after": p.event and event_facts(p.event), **dated(vars(p.pause))}
            | {"others_paused": p.others_paused, "others": p.others}
            for p in found.pauses
        ],
        "losses": [
            {"region": x.region, "after": x.event and event_facts(x.event), **dated(vars(x.loss))}
            | {"others_lost": x.others_lost, "others": x.others}
            for x in found.losses
        ],
    }


def beside_told(report: BesideReport) -> list[str]:
    """After ``beside``: a sentence a plant."""
    from lapsekit.besides import CLOCKS

    unit = "°C·days" if report.clock == "degree-days" else "days"
    lines = [f"by {CLOCKS[report.clock]}:"]
    for pair in report.pairs:
        found, last = pair.found, int(pair.found.index[-1])
        ends = f"{found.low[-1]:.2f} to {found.high[-1]:.2f}"
        day = day_of(float(pair.days[last]))
        at = "" if report.clock == "date" else f" ({pair.own_line.at[last]:.0f} {unit})"
        line = (
            f"{pair.region.title}: by its curve {pair.own_line.area_cm2[last]:.1f} cm² on "
            f"{ENGLISH.short_day(day)}{at}, × {found.ratio[-1]:.2f} ({ends}) of the "
            f"{found.earlier_cm2[-1]:.1f} cm² then"
        )
        if found.ahead is not None and abs(found.ahead) >= 0.5:
            side = "earlier" if found.ahead > 0 else "later"
            line += f"; it came to this size {abs(found.ahead):.0f} {unit} {side}"
        lines.append(f"{line}.")
    lines += [f"{name}: not compared: {why}" for name, why in report.refused.items()]
    return [*lines, f"written: {', '.join(str(path) for path in report.written)}"]


def beside_facts(report: BesideReport) -> dict[str, object]:
    """What ``beside --json`` prints: the last common day of each pair."""
    return {
        "clock": report.clock,
        "pairs": [
            {
                "region": pair.region.name,
                "earlier_region": pair.earlier.name,
                "at": float(pair.own_line.at[pair.found.index[-1]]),
                "ratio": float(pair.found.ratio[-1]),
                "ratio_low": float(pair.found.low[-1]),
                "ratio_high": float(pair.found.high[-1]),
                "ahead": pair.found.ahead,
            }
            for pair in report.pairs
        ],
        "refused": report.refused,
        "written": report.written,
    }
