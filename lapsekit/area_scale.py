"""The scale of areas in growth plots: logarithmic, with plain numbers."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

ABOVE = 1.6
"""So many times the largest area reaches a scale above which nothing is written."""

_STEPS = (
    (1.0, 2.0, 5.0),
    (1.0, 1.5, 2.0, 3.0, 5.0, 7.0),
    (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0),
)
"""Numbers on a logarithmic scale, in every decade; the coarsest that name enough of it."""
_LEAST_NAMED = 3

_LEAST_SHOWN = 0.02
"""Share of the largest area from which a curve is shown; below, logs stretch what nobody sees."""
_BELOW = 1.25
_LEAST_SPAN = 0.5
"""Share of the largest area down to which any scale goes, so that mere scatter stays small."""


def log_scale(axis: Axes, values: np.ndarray, above: float = ABOVE) -> None:
    """A logarithmic scale that fits what is shown, in plain numbers.

    Parameters
    ----------
    axis : matplotlib.axes.Axes
    values : (n,) array
        All areas, low ends of bands among them; what is no area above zero does not count.
    above : float
        So many times the top are left for what is written there.
    """
    areas = values[np.isfinite(values) & (values > 0)]
    top, lowest = (float(areas.max()), float(areas.min())) if areas.size else (1.0, 1.0)
    least = max(_LEAST_SHOWN * top, min(lowest / _BELOW, _LEAST_SPAN * top))
    axis.set_yscale("log")
    axis.set_ylim(least, above * top)
    named = _named_areas(least, ABOVE * top) if areas.size else []  # nothing has no scale
    axis.yaxis.set_major_locator(FixedLocator(named))
    axis.yaxis.set_minor_locator(NullLocator())
    axis.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def _named_areas(least: float, most: float) -> list[float]:
    for steps in _STEPS:
        named = [s * 10.0**k for k in range(-4, 6) for s in steps if least <= s * 10.0**k <= most]
        if len(named) >= _LEAST_NAMED:
            break
    return named
