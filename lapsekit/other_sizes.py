"""The cover of a day whose frames do not have the size of the reference view.

No view is laid over such frames, so that neighbours are not told apart and no scale holds: each is
taken as it is, within the outline. Its cover is uncertain by all that can be known of one frame.
"""

from collections.abc import Callable, Sequence
from statistics import median

import numpy as np

from lapsekit.catalogue import Frame, Measurement, Placement
from lapsekit.errors import LapsekitError
from lapsekit.ruler import Ruler
from lapsekit.settings import Outline
from lapsekit.vision.cover import HALF
from lapsekit.vision.daily import DayArea, Doubts, day_area
from lapsekit.vision.day import edge_lengths
from lapsekit.vision.reduction import reduced_points, reduction_of
from lapsekit.vision.regions import region_window

Row = tuple[Frame, Measurement]

OTHER_SIZE = "another size"
"""Why a frame gives no value on a day that has frames of the view's size."""


def set_aside(frames: Sequence[Frame], fits: Callable[[Frame], bool]) -> list[Frame]:
    """Those of a day's usable frames that give no value, since others have the view's size."""
    other = [frame for frame in frames if not fits(frame)]
    return other if len(other) < len(frames) else []


def cover_alone(
    ruler: Ruler,
    outline: Outline,
    rows: Sequence[Row],
    placements: dict[str, Placement],
    usual_share: float,
    faded_share: float = 0.0,
) -> DayArea | None:
    """A day's cover of a region by frames that are taken as they are.

    Parameters
    ----------
    ruler : Ruler
        Gives covers, where the classifier states no doubt and edges have to be measured.
    outline : Outline
        Of the region on that day.
    rows : sequence of (Frame, Measurement)
        What was measured of it in each of the day's frames.
    placements : dict of str to Placement
        Where the reference view lies in frames, by path, for those in which it does.
    usual_share : float
        What single frames scatter by: `lapsekit.vision.daily.usual_scatter`.
    faded_share : float
        Part of the canopy that hangs on how strong colours are.

    Returns
    -------
    DayArea or None
        In shares of the outline; None without a frame.
    """
    if not rows:
        return None
    side = median(_pixel_side(row) for row in rows)
    tells = ruler.model is not None
    edges = [] if tells else [_edge(ruler, outline, row[0], placements) for row in rows]
    doubts = Doubts(
        unsure_cm2=float(np.median([row.unsure for _, row in rows])) if tells else None,
        faded_share=faded_share,
        edge_cm=median(edges or [0.0]) * side,
        pixel_cm=side,
        usual_share=usual_share,
        least_cm2=ruler.least_px * side**2,
    )
    return day_area([row.cover for _, row in rows], doubts)


def _pixel_side(row: Row) -> float:
    """Side of a measured pixel where the outline's area is 1."""
    frame, measurement = row
    by = reduction_of((frame.width, frame.height))
    return by / max(1, measurement.region_px) ** 0.5


def _edge(ruler: Ruler, outline: Outline, frame: Frame, placements: dict[str, Placement]) -> float:
    """Length of the canopy's edge within the outline, in measured px; 0 if it cannot be read."""
    try:
        cover = ruler.cover(frame, placements.get(frame.path))
    except LapsekitError:
        return 0.0
    by = reduction_of((frame.width, frame.height))
    points = outline.points and reduced_points(outline.points, by)
    box, inside = region_window(cover.shape, points)
    labels = ((cover[box] >= HALF) & inside).astype(np.uint16)
    return float(edge_lengths(labels, 1)[0])
