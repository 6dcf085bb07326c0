"""The growth plot and the plot of the proof, fit for print. matplotlib lives here only."""

import io
from collections.abc import Mapping, Sequence

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from lapsekit.growth.agreement import Pair
from lapsekit.reporting import GrowthRow
from lapsekit.settings import Regions

_INK, _PAPER, _HAIR = "#2b2622", "#fbf8f1", "#cfc6b6"
# Wong 2011, Nature Methods 8: 441: eight colours that colour-blind readers tell apart.
_COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#000000", "#8c7a00")
_DASHES = ("-", "--", "-.", ":")
_STYLE = {
    "font.family": "serif",
    "font.size": 10,
    "text.color": _INK,
    "axes.labelcolor": _INK,
    "axes.edgecolor": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "svg.fonttype": "none",
    "svg.hashsalt": "lapsekit",
}


def growth_plot(by_region: Mapping[str, Sequence[GrowthRow]], regions: Regions, kind: str) -> bytes:
    """Canopy of every region over the season, with the range of each day's frames.

    Parameters
    ----------
    by_region : mapping of str to sequence of GrowthRow
        Rows of each region; a day without values is a break in its line.
    regions : Regions
        For the labels.
    kind : {"svg", "png"}
        File format.

    Returns
    -------
    bytes
        The file's content; the same rows give the same bytes.
    """
    scaled = {n: r for n, r in by_region.items() if any(x.area_cm2 is not None for x in r)}
    bare = {n: r for n, r in by_region.items() if n not in scaled and r}
    panels = [p for p in ((scaled, "area"), (bare, "cover")) if p[0]]
    with rc_context(_STYLE):
        figure = Figure(figsize=(9, 4.8 * len(panels)), facecolor=_PAPER, layout="constrained")
        axes = figure.subplots(len(panels), 1, squeeze=False)[:, 0]
        for panel, (rows, measure) in zip(axes, panels, strict=True):
            _draw(panel, rows, measure, regions)
        return _file(figure, kind)


def agreement_plot(by_region: Mapping[str, Sequence[Pair]], regions: Regions, kind: str) -> bytes:
    """Measured and true area of every region over the season, a small panel each.

    Parameters
    ----------
    by_region : mapping of str to sequence of Pair
        Days with a true area.
    regions : Regions
        For the labels.
    kind : {"svg", "png"}
        File format.

    Returns
    -------
    bytes
        The file's content.
    """
    columns = min(5, len(by_region))
    lines = -(-len(by_region) // columns)
    with rc_context({**_STYLE, "font.size": 8}):
        size = (2.6 * columns, 1.9 * lines)
        figure = Figure(figsize=size, facecolor=_PAPER, layout="constrained")
        axes = figure.subplots(lines, columns, squeeze=False).ravel()
        for panel, (name, pairs) in zip(axes, by_region.items(), strict=False):
            _draw_agreement(panel, pairs, regions.by_name[name].title)
        for panel in axes[len(by_region) :]:
            panel.set_visible(False)
        return _file(figure, kind)


def _draw_agreement(panel: Axes, pairs: Sequence[Pair], title: str) -> None:
    nan = float("nan")
    days = [p.day for p in pairs]
    measured, low, high = (
        [nan if (v := getattr(p, n)) is None else v for p in pairs]
        for n in ("measured_cm2", "low_cm2", "high_cm2")
    )
    panel.fill_between(days, low, high, color=_COLOURS[0], alpha=0.2, linewidth=0)
    panel.plot(days, [p.true_cm2 for p in pairs], color=_INK, linewidth=1, label="true")
    panel.plot(days, measured, ".", color=_COLOURS[0], markersize=3, label="measured")
    panel.set_title(f"{title}, cm²", loc="left", fontsize=8)
    _season_axes(panel, ticks=5)


def _season_axes(panel: Axes, ticks: int = 9) -> None:
    panel.set_facecolor(_PAPER)
    panel.set_ylim(bottom=0)
    locator = AutoDateLocator(maxticks=ticks)
    panel.xaxis.set_major_locator(locator)
    panel.xaxis.set_major_formatter(ConciseDateFormatter(locator))
    panel.grid(axis="y", color=_HAIR, linewidth=0.6)
    panel.spines[["top", "right"]].set_visible(False)


def _file(figure: Figure, kind: str) -> bytes:
    out = io.BytesIO()
    metadata = {"Date": None} if kind == "svg" else {"Software": None}
    figure.savefig(out, format=kind, dpi=150, facecolor=_PAPER, metadata=metadata)
    return out.getvalue()


def _draw(
    panel: Axes, by_region: Mapping[str, Sequence[GrowthRow]], measure: str, regions: Regions
) -> None:
    nan = float("nan")
    names = (
        ("area_cm2", "area_low_cm2", "area_high_cm2")
        if measure == "area"
        else ("cover", "cover_low", "cover_high")
    )
    for number, (name, rows) in enumerate(by_region.items()):
        days = [r.day for r in rows]
        middle, low, high = (
            [nan if (v := getattr(r, n)) is None else v for r in rows] for n in names
        )
        colour = _COLOURS[number % len(_COLOURS)]
        dash = _DASHES[(number + number // len(_COLOURS)) % len(_DASHES)]
        label = regions.by_name[name].title
        sparse = sum(v == v for v in middle) * 3 < len(middle)
        panel.fill_between(days, low, high, color=colour, alpha=0.15, linewidth=0)
        panel.plot(
            days,
            middle,
            dash,
            color=colour,
            linewidth=1.5,
            label=label,
            marker="o" if sparse else None,
            markersize=4,
        )
    _season_axes(panel)
    panel.set_ylabel("Canopy area, cm²" if measure == "area" else "Cover")
    if measure == "cover":
        panel.yaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{share:.0%}"))
    panel.legend(loc="upper left", frameon=False, ncols=2)
    panel.set_title(
        "Daily median of usable frames; shaded: range of the day's frames", loc="left", fontsize=9
    )
