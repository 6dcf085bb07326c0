"""One value a day out of the day's usable frames, and how sure it is.

The published value is the area of the *vote*: a pixel of the reference view is canopy where most
of the day's frames say so. A shadow or a glint that one frame mistakes in one place is outvoted
there, while in a median of areas each frame brings its own mistakes along: on masks with drawn-in
mistakes the vote came nearer to the truth than the median for broad-leaved plants (median error
0.8 against 1.0 % with five frames). But a vote loses thin leaves that sway from frame to frame
(15 % of chives turned by 3 degrees), which no single frame does. So the vote is held within the
middle half of the frames' own areas. ``tests/prove_days.py`` prints the comparison.

The interval is stated at 95 % and made of few parts, each a half-width in cm², joined in quadrature
(JCGM 100:2008, *Guide to the expression of uncertainty in measurement*, 5.1.2): see `Parts`.
"""

import math
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace
from statistics import fmean, median

import numpy as np
from scipy.special import stdtrit

FADED_SHARE = 2.5
"""Standard uncertainty of an area, as a multiple of the canopy that comes on the whole, or goes,
where colours are a fifth fainter (`lapsekit.vision.fading`), alike in all frames of a day. It tells
more of errors than the model's own doubt does: of rendered plants that the model had not seen,
intervals of it hold as many as intervals of the doubt do that are as wide, and of photographs of
plots that it had not seen more than twice as many. There 3.3 is the likeliest, for rendered plants
alone 0.9 (``tests/fit_doubt.py``); with 2.5, and the other parts, intervals hold 98 of 100 of the
sample season's days."""

UNSURE_SHARE = 0.01
"""The same, as a share of the canopy that the model was in doubt of: of edges, gaps and colours. It
keeps intervals from being too narrow where what fainter colours take and give comes out even."""

EDGE_PX = 0.4 / 3
"""Standard uncertainty of where the edge of a leaf lies, in px, alike along all of a plant's edge,
for a classifier that states no doubt: a colour index. The yardstick allows a disc of 27 px radius
an error of 3 %, which is 0.4 px of its edge, at the outside: three standard uncertainties."""

USUAL_SHARE, USUAL_WEIGHT = 0.02, 4.0
"""What single frames of a day scatter by, as a share of the area, before the day's own frames have
said otherwise, and the degrees of freedom that this is worth: as many as a day of five frames.
Leaves that follow the sun change their projection by some percent from morning to afternoon."""

SHARED_SHARE = 0.02
"""Standard uncertainty of such a classifier's areas from one kind of plant to another, alike in all
frames: it misses a vein or takes in a stem. Human-assisted classification reaches a Dice of 0.96
to 0.99 (Henke et al. 2021), which leaves errors of area of this order. No spread of frames can show
that it is smaller."""

_NORMAL = 1.96
_MEDIAN_LOSS = float(np.sqrt(np.pi / 2))


@dataclass(frozen=True)
class DayValue:
    """Robust middle of a day's frames with the smallest and the largest of them."""

    middle: float | None
    low: float | None
    high: float | None


def day_value(values: Sequence[float | None]) -> DayValue:
    """Median of what the day's frames say, with their range.

    The median suits what has no vote, such as cover or colour: a high percentile, used for
    greenness elsewhere, picks false positives.

    Parameters
    ----------
    values : sequence of float or None
        One for each usable frame, in any unit; None where a frame has no such value.

    Returns
    -------
    DayValue
        All None where no frame has a value.
    """
    known = [v for v in values if v is not None]
    if not known:
        return DayValue(None, None, None)
    return DayValue(median(known), min(known), max(known))


@dataclass(frozen=True)
class Parts:
    """What a day's interval is made of: half-widths at 95 %, in cm².

    Attributes
    ----------
    frames : float
        Chance of the day's frames: their scatter (light, wind, leaves that move, single mistakes)
        over the root of their number, with Student's quantile for few frames.
    shared : float
        What all frames of a day may have in common, and no repetition shows, of a classifier that
        states no doubt. It is taken as large as the usual scatter of single frames: what makes
        frames of one day differ under different light makes all frames under one light wrong
        alike; but not smaller than what classifiers are known to be off by.
    canopy : float
        The same of one that states its doubt: what may be leaf or not.
    colours : float
        The same where that doubt is not to be relied on: canopy that hangs on how strong colours
        are, as in pictures unlike those that the classifier learned from.
    edge : float
        Length of the plant's edge times the uncertainty of where an edge lies.
    scale : float
        Uncertainty of centimetres per pixel, counted twice for an area.
    neighbours : float
        Canopy that may belong to the neighbour: the doubtful pixels along the border, all of them
        on the wrong side as the outermost case, and the border's length times the error of
        registration.
    height : float
        Uncertainty of the plant's height, where areas are corrected for it.
    """

    frames: float
    shared: float
    canopy: float
    colours: float
    edge: float
    scale: float
    neighbours: float
    height: float = 0.0

    @property
    def together(self) -> float:
        """Half-width of the interval."""
        return math.hypot(*astuple(self))


@dataclass(frozen=True)
class DayArea:
    """Canopy area of one region on one day.

    Attributes
    ----------
    area_cm2 : float
        The published value.
    low_cm2, high_cm2 : float
        Interval at 95 %.
    frames : int
        Usable frames it rests on.
    vote_cm2 : float or None
        Area of the pixels that most frames call canopy; None if no vote was given.
    middle_cm2 : float
        Median of the frames' areas.
    disputed_cm2 : float or None
        Area on which the frames disagree: expected difference between a frame and the vote.
    parts : Parts
        What the interval is made of.
    """

    area_cm2: float
    low_cm2: float
    high_cm2: float
    frames: int
    vote_cm2: float | None
    middle_cm2: float
    disputed_cm2: float | None
    parts: Parts


@dataclass(frozen=True)
class Doubts:
    """What is uncertain about a region's areas, beside their scatter; all 0 or more.

    Attributes
    ----------
    unsure_cm2 : float or None
        What the classifier was in doubt of, in the region's outline; None for one that states no
        doubt, for which `edge_cm`, `edge_px` and `shared_share` stand.
    faded_share : float
        Part of the canopy that hangs on how strong colours are
        (`lapsekit.vision.fading.faded_share`).
    edge_cm : float
        Length of the plant's edge (`edge_length`).
    contact_cm : float
        Length of its border with neighbours.
    doubtful_cm2 : float
        Canopy expected on the wrong side of that border.
    pixel_cm : float
        Side of a pixel on the bench.
    edge_px : float
        Standard uncertainty of the place of an edge.
    residual_px : float
        Residual of the day's registrations (their median).
    scale_share : float
        Standard uncertainty of the scale, as a share.
    usual_share : float
        Scatter of single frames around their day's middle as a share of the area
        (`usual_scatter`).
    shared_share : float
        Least standard uncertainty that all frames have in common, as a share.
    least_cm2 : float
        Smallest patch that counts as canopy: where none was found, up to this may stand.
    """

    unsure_cm2: float | None = None
    faded_share: float = 0.0
    edge_cm: float = 0.0
    contact_cm: float = 0.0
    doubtful_cm2: float = 0.0
    pixel_cm: float = 0.0
    edge_px: float = EDGE_PX
    residual_px: float = 0.0
    scale_share: float = 0.0
    usual_share: float = USUAL_SHARE
    shared_share: float = SHARED_SHARE
    least_cm2: float = 0.0


def day_area(
    areas_cm2: Sequence[float],
    doubts: Doubts,
    vote_cm2: float | None = None,
    disputed_cm2: float | None = None,
) -> DayArea | None:
    """The day's canopy area of one region with its interval.

    Parameters
    ----------
    areas_cm2 : sequence of float
        One for each usable frame.
    doubts : Doubts
        What else is uncertain.
    vote_cm2, disputed_cm2 : float, optional
        Of the day's `Consensus`; without a vote the median of the areas is published.

    Returns
    -------
    DayArea or None
        None on a day without a usable frame: a gap.
    """
    if not len(areas_cm2):
        return None
    areas = np.asarray(areas_cm2, float)
    middle = float(np.median(areas))
    area = middle
    if vote_cm2 is not None:
        quarters = np.interp((0.25, 0.75), np.linspace(0, 1, areas.size), np.sort(areas))
        area = min(max(vote_cm2, float(quarters[0])), float(quarters[1]))
    parts = _parts(areas, area, doubts, vote_cm2 is not None)
    half = parts.together
    high = max(area + half, doubts.least_cm2 if area == 0 else 0.0)
    return DayArea(
        area, max(0.0, area - half), high, areas.size, vote_cm2, middle, disputed_cm2, parts
    )


def corrected(day: DayArea, factor: float, uncertain: float) -> DayArea:
    """A day's area for plants nearer to the camera than the bench.

    Parameters
    ----------
    day : DayArea
    factor : float
        What areas are multiplied by (one over `lapsekit.vision.plane.canopy_height_factor`).
    uncertain : float
        Standard uncertainty of the factor, as a share.
    """
    if (factor, uncertain) == (1.0, 0.0):
        return day
    parts = Parts(*(factor * half for half in astuple(day.parts)))
    area = factor * day.area_cm2
    parts = replace(parts, height=_NORMAL * uncertain * area)
    return DayArea(
        area,
        max(0.0, area - parts.together),
        max(area + parts.together, factor * day.high_cm2),
        day.frames,
        None if day.vote_cm2 is None else factor * day.vote_cm2,
        factor * day.middle_cm2,
        None if day.disputed_cm2 is None else factor * day.disputed_cm2,
        parts,
    )


def _parts(areas: np.ndarray, area: float, doubts: Doubts, voted: bool) -> Parts:
    freedom = USUAL_WEIGHT + areas.size - 1
    usual = doubts.usual_share * area
    squares = USUAL_WEIGHT * usual**2 + np.square(areas - areas.mean()).sum()
    # A median of many is less sure than a mean by this; one or two are a mean, a vote is like one
    loss = 1.0 if voted or areas.size < 3 else _MEDIAN_LOSS
    error = loss * float(np.sqrt(squares / freedom / areas.size))
    astray = _NORMAL * doubts.contact_cm * doubts.residual_px * doubts.pixel_cm
    tells = doubts.unsure_cm2 is not None
    return Parts(
        frames=float(stdtrit(freedom, 0.975)) * error,
        shared=0.0 if tells else _NORMAL * max(usual, doubts.shared_share * area),
        canopy=_NORMAL * UNSURE_SHARE * doubts.unsure_cm2 if tells else 0.0,
        colours=_NORMAL * FADED_SHARE * doubts.faded_share * area,
        edge=0.0 if tells else _NORMAL * doubts.edge_cm * doubts.edge_px * doubts.pixel_cm,
        scale=_NORMAL * 2 * doubts.scale_share * area,
        neighbours=float(np.hypot(doubts.doubtful_cm2, astray)),
    )


def scatter(areas: Sequence[float]) -> float | None:
    """Variance of single frames around their day's middle, as a share of its square.

    Parameters
    ----------
    areas : sequence of float
        One for each usable frame of a day, in any unit.

    Returns
    -------
    float or None
        None of a single frame, or without canopy: they say nothing.

    Notes
    -----
    The median of a variance of v degrees of freedom lies at (1 - 2 / 9v)^3 of its mean (Wilson &
    Hilferty 1931, PNAS 17: 684), and is corrected by that, for `usual_scatter`.
    """
    if len(areas) < 2 or (middle := median(areas)) <= 0:
        return None
    mean, freedom = fmean(areas), len(areas) - 1
    typical = (1 - 2 / (9 * freedom)) ** 3
    variance = sum((area - mean) ** 2 for area in areas) / freedom
    return variance / middle**2 / typical


def usual_scatter(days: Sequence[float | None]) -> float:
    """Scatter of single frames around their day's middle, as a share, of a run of days.

    Parameters
    ----------
    days : sequence of float or None
        `scatter` of each of the last days (a fortnight, say) of one region.

    Returns
    -------
    float
        Root of the median of the days' variances, with one day of `USUAL_SHARE` beside them; so
        that a day on which the plant was cut does not count for the fortnight after. Never less
        than half of `USUAL_SHARE`: frames that agree by chance prove nothing.
    """
    known = [USUAL_SHARE**2, *(share for share in days if share is not None)]
    return max(USUAL_SHARE / 2, median(known) ** 0.5)
