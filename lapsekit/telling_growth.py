"""What ``lapsekit growth`` says of a season, alone or beside an earlier one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from lapsekit.growth_table import summary, table
from lapsekit.language.words import ENGLISH
from lapsekit.site.wording import loss_text, pause_text
from lapsekit.telling_notes import event_facts
from lapsekit.when import day_of

if TYPE_CHECKING:
    from lapsekit.alerting import Alert
    from lapsekit.besides import BesideReport
    from lapsekit.foretelling import Foretold, Reached
    from lapsekit.noticing import Noticed
    from lapsekit.reporting import GrowthReport
    from lapsekit.season import Season

_PERSONS = ("gompertz", "richards")
"""Growth laws named after somebody."""


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
    last = {}
    for region in season.regions.region:
        rows = [r for r in report.by_region[region.name] if r.frames_used]
        if rows:
            bare_days = report.growths[region.name].bare_days
            last[region.name] = summary(region.title, rows[-1], bare_days)
    lines = table(list(last.values()))
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


def foretold(found: Mapping[str, Foretold], season: Season) -> list[str]:
    """What can be said of final areas and of days on which covers are reached."""
    titles = {region.name: region.title for region in season.regions.region}
    lines = []
    for name, told in found.items():
        parts = []
        if told.final is not None:
            f = told.final
            level = f"at {f.area_cm2:.0f} cm² ({f.low_cm2:.0f} to {f.high_cm2:.0f})"
            begins = "has levelled off," if f.is_reached else "levels off"
            parts.append(f"{begins} {level} by {_laws(f.by)} growth")
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
    how = "" if found.by == "measured" else f" by {_laws(found.by)} growth"
    note = f", {found.note}" if found.note else ""
    return f"{what} on {ENGLISH.short_day(found.day)} ({ends}){how}{note}"


def _laws(names: str) -> str:
    """Names of growth laws as a sentence says them: ``logistic, Gompertz and Richards``."""
    *first, last = (n.capitalize() if n in _PERSONS else n for n in names.split(", "))
    return f"{', '.join(first)} and {last}" if first else last


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
