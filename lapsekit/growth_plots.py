"""The growth plots: a panel for each plant or group, told apart by place and not by colour."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from textwrap import wrap

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from lapsekit.area_scale import ABOVE, log_scale
from lapsekit.besides import CLOCKS, BesideReport, Pair
from lapsekit.diary import Event
from lapsekit.growing import Growth, bare_days_of, has_value
from lapsekit.growth.alignment import Line
from lapsekit.growth.curves import GrowthCurve
from lapsekit.language.phrases import capital, no_rate_text
from lapsekit.language.words import ENGLISH
from lapsekit.noticing import UNTOLD
from lapsekit.plotting import (
    BLUE,
    HAIR,
    INK,
    PAPER,
    STYLE,
    files_of,
    panel_title,
    plain_axes,
    season_axes,
)

_COLUMNS = 2
_WIDTH_IN, _PANEL_IN, _FOOT_IN = 5.8, 1.6, 0.8
"""So narrow that it can be read on a phone."""

_ABOVE_MARKED, _ABOVE_BARE = 2.6, 10.0
_RATES, _BEYOND = (-0.05, 0.15), 1.15
"""Rates that any scale shows, and by how much it goes beyond the curves that reach further."""
_LINE_LETTERS = 34
_EDGE = timedelta(days=1)


@dataclass(frozen=True)
class _Panel:
    """One plant, or the plants of one group."""

    title: str
    growths: list[Growth]


def area_plot(growths: Sequence[Growth], events: Sequence[Event]) -> dict[str, bytes]:
    """Canopy area by day, its smooth curve with its 95 % band, pauses, losses and diary.

    Areas are on a logarithmic scale: a plant that grows at a steady rate draws a straight line.

    Parameters
    ----------
    growths : sequence of Growth
        In the order of regions.toml.
    events : sequence of Event

    Returns
    -------
    dict of str to bytes
        See `lapsekit.plotting.files_of`.
    """
    foot = (
        "Dots: value of each day (open: crowded). Line and band: smooth\n"
        "curve, 95 %. Hatched: growth stood still. ▼ sudden loss. ◆ diary.\n"
        "Days far off the line carried no weight."
    )
    return _plot(growths, foot, lambda *given: _draw_area(*given, events))


def rate_plot(growths: Sequence[Growth], events: Sequence[Event]) -> dict[str, bytes]:
    """Relative growth rate by day with its 95 % interval; see `area_plot`."""
    foot = (
        "Relative growth rate by the smooth curve, with its 95 % interval;\n"
        "sudden losses left out. Hatched: growth stood still. ◆ diary.\n"
        "At 0.07 per day a canopy doubles in ten days."
    )
    scale = _rate_scale(growths)
    return _plot(growths, foot, lambda *given: _draw_rate(*given, events, scale))


def _plot(growths: Sequence[Growth], foot: str, draw: Callable) -> dict[str, bytes]:
    days = [d.day for growth in growths for d in growth.daily if d.cover is not None]

    def drawn(axis: Axes, panel: _Panel) -> None:
        draw(axis, panel)
        if bare := bare_days_of(panel.growths):
            _bare(axis, bare)
        axis.set_xlim(min(days) - _EDGE, max(days) + _EDGE)

    return sheet(list(_panels(growths)), drawn, foot + _span(days))


def _bare(axis: Axes, days: int) -> None:
    """Say why there is no line."""
    said = "\n".join(wrap(capital(no_rate_text(ENGLISH, days)), _LINE_LETTERS))
    axis.text(0.5, 0.94, said, transform=axis.transAxes, fontsize=8.5, ha="center", va="top")


def sheet(panels: Sequence, draw: Callable[[Axes, object], None], foot: str) -> dict[str, bytes]:
    """Panels side by side and below each other, and words at their foot."""
    lines = max(1, -(-len(panels) // _COLUMNS))
    with rc_context({**STYLE, "font.size": 9.5, "hatch.linewidth": 0.6}):
        height = _PANEL_IN * lines + _FOOT_IN
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor=PAPER, layout="constrained")
        figure.get_layout_engine().set(rect=(0, _FOOT_IN / height, 1, 1 - _FOOT_IN / height))
        axes = figure.subplots(lines, _COLUMNS, squeeze=False).ravel()
        for panel, axis in zip(panels, axes, strict=False):
            draw(axis, panel)
        for axis in axes[len(panels) :]:
            axis.set_visible(False)
        figure.text(0.02, 0.1 / height, foot, fontsize=8.5, va="bottom", linespacing=1.4)
        return files_of(figure)


def _span(days: Sequence[date]) -> str:
    return f" {min(days)} to {max(days)}."


def _panels(growths: Sequence[Growth]) -> Iterator[_Panel]:
    """Single plants, and each group where its first member stands."""
    shown = [growth for growth in growths if any(d.cover is not None for d in growth.daily)]
    groups: dict[tuple[str, str], list[Growth]] = {}
    for growth in shown:
        if growth.region.group:
            groups.setdefault((growth.region.group, growth.region.camera), []).append(growth)
    for growth in shown:
        members = groups.get((growth.region.group or "", growth.region.camera), [growth])
        if growth is members[0]:
            many = f"{growth.region.group}, {len(members)} plants"
            yield _Panel(growth.region.title if len(members) == 1 else many, members)


def _draw_area(axis: Axes, panel: _Panel, events: Sequence[Event]) -> None:
    has_area = panel.growths[0].has_area
    alone = len(panel.growths) == 1
    marked = _ABOVE_MARKED if alone and panel.growths[0].losses else ABOVE
    shown = [np.empty(0), *(v for growth in panel.growths for v in _shown(growth, alone))]
    above = _ABOVE_BARE if bare_days_of(panel.growths) else marked
    log_scale(axis, np.concatenate(shown), above)
    for growth in panel.growths:
        if growth.curve is not None:
            c = growth.curve
            _curve(axis, c, (c.area_cm2, c.low_cm2, c.high_cm2), alone)
        if alone:
            _days(axis, growth)
            _losses(axis, growth)
    season_axes(axis, 4, offset=False)
    panel_title(axis, panel.title, "cm²" if has_area else "cover")
    _around(axis, panel, events)


def _shown(growth: Growth, alone: bool) -> Iterator[np.ndarray]:
    """Areas that a panel draws: those of a single plant's days, and curves with their low ends."""
    if alone:
        yield np.array(growth.series(growth.daily)[1])
    if growth.curve is not None:
        valued = has_value(growth.curve)
        yield growth.curve.area_cm2[valued]
        if alone:
            yield growth.curve.low_cm2[valued]


def _rate_scale(growths: Sequence[Growth]) -> tuple[float, float]:
    """One scale for all plants, so that they compare; bands may leave it, curves do not."""
    curves = [growth.curve for growth in growths if growth.curve is not None]
    rates = [curve.rgr_per_day[has_value(curve)] for curve in curves]
    found = np.concatenate([_RATES, *(_BEYOND * rate[np.isfinite(rate)] for rate in rates)])
    return float(found.min()), float(found.max())


def _draw_rate(
    axis: Axes, panel: _Panel, events: Sequence[Event], scale: tuple[float, float]
) -> None:
    axis.set_ylim(*scale)
    axis.axhline(0, color=INK, linewidth=0.6)
    for growth in panel.growths:
        if growth.curve is not None:
            c = growth.curve
            values = (c.rgr_per_day, c.rgr_low, c.rgr_high)
            _curve(axis, c, values, len(panel.growths) == 1)
    season_axes(axis, 4, offset=False)
    panel_title(axis, panel.title, "per day")
    _around(axis, panel, events)


def _curve(axis: Axes, curve: GrowthCurve, values: tuple[np.ndarray, ...], alone: bool) -> None:
    days = [date.fromordinal(int(day)) for day in curve.days]
    middle, low, high = (np.where(has_value(curve), each, np.nan) for each in values)
    if alone:
        axis.fill_between(days, low, high, color=BLUE, alpha=0.3, linewidth=0)
    axis.plot(days, middle, color=BLUE if alone else INK, linewidth=1.3 if alone else 0.6)


def _days(axis: Axes, growth: Growth) -> None:
    for crowded, fill in ((False, INK), (True, PAPER)):
        rows = [d for d in growth.daily if (d.crowded or bool(d.touches)) == crowded]
        days, values, _ = growth.series(rows)
        axis.plot(
            [date.fromordinal(day) for day in days],
            values,
            *("o",),
            markersize=2.0,
            color=fill,
            markeredgecolor=INK,
            markeredgewidth=0.5,
            zorder=3,
        )


def _losses(axis: Axes, growth: Growth) -> None:
    low, high = axis.get_ylim()
    at = np.exp(np.log(high) - 0.10 * np.log(high / low))
    for loss in growth.losses:
        day = date.fromordinal(loss.day)
        axis.plot([day], [at], marker="v", color=INK, markersize=5, linestyle="none")
        axis.annotate(
            f"−{loss.share:.0%}", (day, at), (5, 0), textcoords="offset points", fontsize=8,
            va="center",
        )  # fmt: skip


def _around(axis: Axes, panel: _Panel, events: Sequence[Event]) -> None:
    """What lies behind a panel: pauses, and along its foot the diary."""
    names = {growth.region.name for growth in panel.growths}
    for pause in (p for growth in panel.growths for p in growth.pauses):
        ends = (date.fromordinal(round(day)) for day in (pause.start, pause.end))
        axis.axvspan(*ends, facecolor="none", edgecolor=HAIR, hatch="////", linewidth=0, zorder=0)
    shown = [e for e in events if e.region in names and e.what.lower() not in UNTOLD]
    known = [d.day for growth in panel.growths for d in growth.daily]
    days = sorted({e.day for e in shown if min(known) <= e.day <= max(known)})
    axis.plot(
        days,
        [0.045] * len(days),
        *("D",),
        color=INK,
        markersize=3.2,
        transform=axis.get_xaxis_transform(),
        zorder=4,
    )


def beside_plot(report: BesideReport, titles: tuple[str, str]) -> dict[str, bytes]:
    """A season's curve (line and band) and an earlier one's (dashed), a panel a plant."""
    foot = (
        f"Line and band: {titles[0]}.\nDashed, with its band: {titles[1]}.\n"
        f"Below: {CLOCKS[report.clock]}. Areas in cm², equal steps multiply equally."
    )
    return sheet(report.pairs, _draw_pair, foot)


def _draw_pair(axis: Axes, pair: Pair) -> None:
    same = pair.region.name == pair.earlier.name
    title = pair.region.title + ("" if same else f" beside {pair.earlier.title}")
    panel_title(axis, title)
    _along(axis, pair.earlier_line, INK, "--", 0.15)
    _along(axis, pair.own_line, BLUE, "-", 0.3)
    both = pair.own_line, pair.earlier_line
    log_scale(axis, np.concatenate([a for line in both for a in (line.area_cm2, line.low_cm2)]))
    plain_axes(axis)


def _along(axis: Axes, line: Line, colour: str, dash: str, alpha: float) -> None:
    axis.fill_between(line.at, line.low_cm2, line.high_cm2, color=colour, alpha=alpha, linewidth=0)
    axis.plot(line.at, line.area_cm2, dash, color=colour, linewidth=1.3)
