"""The look of all plots, and the plot of the proof. matplotlib lives here and beside it only."""

import io
from collections.abc import Mapping, Sequence

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.dates import HOURLY, AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from lapsekit.growth.agreement import Pair
from lapsekit.settings import Regions

INK, PAPER, HAIR = "#2b2622", "#fbf8f1", "#cfc6b6"
BLUE = "#0072b2"
"""Of Wong's (2011, Nature Methods 8: 441) colours, which colour-blind readers tell apart."""

_TITLE_PT, _UNIT_PT, _APART_PT = 9.5, 8.0, 8.0
_PANEL_PT, _TITLE_LINES = 160.0, 2
"""How wide a panel of a sheet is at least, beside levels of five figures; lines of a title."""

STYLE = {
    "font.family": "serif",
    "font.size": 10,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "svg.fonttype": "none",
    "svg.hashsalt": "lapsekit",
}


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
    with rc_context({**STYLE, "font.size": 8}):
        size = (2.6 * columns, 1.9 * lines)
        figure = Figure(figsize=size, facecolor=PAPER, layout="constrained")
        axes = figure.subplots(lines, columns, squeeze=False).ravel()
        for panel, (name, pairs) in zip(axes, by_region.items(), strict=False):
            _draw_agreement(panel, pairs, regions.by_name[name].title)
        for panel in axes[len(by_region) :]:
            panel.set_visible(False)
        return file_of(figure, kind)


def _draw_agreement(panel: Axes, pairs: Sequence[Pair], title: str) -> None:
    nan = float("nan")
    days = [p.day for p in pairs]
    measured, low, high = (
        [nan if (v := getattr(p, n)) is None else v for p in pairs]
        for n in ("measured_cm2", "low_cm2", "high_cm2")
    )
    panel.fill_between(days, low, high, color=BLUE, alpha=0.2, linewidth=0)
    panel.plot(days, [p.true_cm2 for p in pairs], color=INK, linewidth=1, label="true")
    panel.plot(days, measured, ".", color=BLUE, markersize=3, label="measured")
    panel.set_title(f"{title}, cm²", loc="left", fontsize=8)
    panel.set_ylim(bottom=0)
    season_axes(panel, 5)


def panel_title(panel: Axes, title: str, unit: str = "") -> None:
    """What a panel of a sheet shows, at its left, and its unit at the right; both as plain text.

    A long title takes a second line and is cut there: it runs neither into the unit nor out.
    """
    room = _PANEL_PT - (_width_pt(unit, _UNIT_PT) + _APART_PT if unit else 0)
    lines = "\n".join(fitted_lines(title, room))
    panel.set_title(lines, loc="left", fontsize=_TITLE_PT, parse_math=False)
    panel.set_title(unit, loc="right", fontsize=_UNIT_PT, parse_math=False)


def fitted_lines(title: str, room_pt: float) -> list[str]:
    """A title in lines that keep to so much room; the last ends with … where letters are left."""
    left, lines = " ".join(title.split()), []
    while left and len(lines) < _TITLE_LINES:
        count = _letters_within(left, room_pt)
        is_last = len(lines) == _TITLE_LINES - 1
        if count == len(left) or is_last:
            fits = count == len(left)
            return [*lines, left if fits else _with_ellipsis(left, room_pt)]
        end = left.rfind(" ", 1, count + 1)
        end = end if end > 0 else count
        lines.append(left[:end].rstrip())
        left = left[end:].lstrip()
    return lines


def _letters_within(text: str, room_pt: float) -> int:
    """How many letters of a text have room; at least one."""
    return next(
        (n for n in range(len(text), 1, -1) if _width_pt(text[:n], _TITLE_PT) <= room_pt), 1
    )


def _with_ellipsis(text: str, room_pt: float) -> str:
    return f"{text[: _letters_within(text, room_pt - _width_pt('…', _TITLE_PT))].rstrip()}…"


def _width_pt(text: str, size_pt: float) -> float:
    letters = FontProperties(family=STYLE["font.family"], size=size_pt)
    return text_to_path.get_text_width_height_descent(text, letters, ismath=False)[0]


def season_axes(panel: Axes, ticks: int, offset: bool = True) -> None:
    """Dates below (the year with them, or not), hairlines across, no frame."""
    plain_axes(panel)
    locator = AutoDateLocator(maxticks=ticks)
    locator.intervald[HOURLY] = [24, 48, 96]  # a day has one value: no ticks of hours
    panel.xaxis.set_major_locator(locator)
    panel.xaxis.set_major_formatter(ConciseDateFormatter(locator, show_offset=offset))


def plain_axes(panel: Axes) -> None:
    """Hairlines across, no frame."""
    panel.set_facecolor(PAPER)
    panel.grid(axis="y", color=HAIR, linewidth=0.6)
    panel.spines[["top", "right"]].set_visible(False)


def file_of(figure: Figure, kind: str) -> bytes:
    """The file's content, "svg" or "png"; the same figure gives the same bytes."""
    out = io.BytesIO()
    metadata = {"Date": None} if kind == "svg" else {"Software": None}
    figure.savefig(out, format=kind, dpi=150, facecolor=PAPER, metadata=metadata)
    return out.getvalue()


def files_of(figure: Figure) -> dict[str, bytes]:
    """Both files' content by kind, "svg" and "png"; the same figure gives the same bytes.

    Room for the words is found once; it takes as long as all the drawing.
    """
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    return {kind: file_of(figure, kind) for kind in ("svg", "png")}
