"""How much of each pixel is canopy, by a model's log odds; its sum is an area.

Inside a mask it is 1 and away from it 0. Along the outline the colours on both sides tell it
(`lapsekit.vision.edges`), and beyond, leaves that are nowhere as broad as half a pixel count too.
"""

import cv2
import numpy as np

from lapsekit.vision.cleaning import HOLE_PX, clean, patches
from lapsekit.vision.correcting import BESIDE_PX, judged
from lapsekit.vision.edges import EDGE_RULES, leaf_shares, window
from lapsekit.vision.trained_colours import Colours

BAND_PX = 3
"""On both sides of the mask's outline, pixels may be part leaf: a leaf's edge spreads over the
width of a cheap lens's blur (1 px) and of the coarser colour of a 4:2:0 JPEG (2 px)."""

PIECE_PX = 8
"""Pieces of leaf of fewer pixels than this do not count. It is less than a mask's `SPECK_PX`, with
which pieces of straws were lost on rendered benches that the network had not learned from: a
network that has seen what is around is to be believed more than four samples of colour."""

FAINT = 0.10
"""Share of leaf from which a pixel counts, if pixels like it lead from it to leaf: a straw that
nowhere fills half a pixel (hysteresis; Canny 1986, IEEE TPAMI 8(6), 679-698). Specks on the way
count too, and so does ground beside a leaf of which the network is as unsure. Chosen on rendered
benches that neither judge learned from; 0.06 and 0.15 do nearly as well."""

GAP_PX = 1
"""Such pixels lead on where they touch, each made broader by this on all sides: over two pixels
that the network missed."""

HALF = 128
"""A pixel of a cover in 255 parts belongs to a shape if at least half of it is canopy."""

FAINT_ODDS = float(np.log(FAINT / (1 - FAINT)))

COLOUR_VARIANCE, LEAST_VARIANCE = 0.1, 0.01
"""Variance of a share that colours tell, which light and dark leaves beside each other blur, and
what is added to that of the network's, p (1 - p), so that none counts for ever. Each counts by the
inverse of its variance. Chosen on rendered benches that neither judge learned from."""

UNSURE_COLOUR, FIRM = 0.3, 0.1
"""Share of a window that must be pure leaf for its colour to count more than half, and how much
above it counts whole. On the rim of a broad leaf nearly half is."""

COVER_RULES = [PIECE_PX, HOLE_PX, BAND_PX, BESIDE_PX, FAINT, GAP_PX, UNSURE_COLOUR, FIRM]
COVER_RULES += [COLOUR_VARIANCE, LEAST_VARIANCE, *EDGE_RULES]
"""All that shapes the result beside log odds and colours, for a mark."""


def cover_by_odds(
    picture: np.ndarray, odds: np.ndarray, colours: Colours | None = None
) -> np.ndarray:
    """`lapsekit.vision.canopy.CanopyModel.cover` of a picture whose log odds are known already.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    odds : (H, W) float32 ndarray
        What `lapsekit.vision.canopy.CanopyModel.odds` says of it.
    colours : TrainedColours or ZonedColours, optional
        What the grower taught.

    Returns
    -------
    (H, W) float32 ndarray
    """
    return cover_and_odds(picture, odds, colours)[0]


def cover_and_odds(
    picture: np.ndarray, odds: np.ndarray, colours: Colours | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """`cover_by_odds`, and beside it the log odds with what the grower taught.

    Parameters
    ----------
    picture, odds, colours
        As for `cover_by_odds`.

    Returns
    -------
    cover, odds : (H, W) float32 ndarray
    """
    taken, odds, gone = judged(picture, odds, colours)
    mask, near = clean(taken, PIECE_PX).view(np.uint8), window(BAND_PX)
    grown = cv2.dilate(mask, near)
    band = grown != cv2.erode(mask, near)
    found = mask.astype(np.float32)
    closed = np.flatnonzero((mask > 0) & ~taken & ~band)
    found.ravel()[closed] = shares_of(odds.ravel()[closed])
    places = np.flatnonzero(band)
    if len(places):
        found.ravel()[places] = _shares_along(picture, mask, odds, places)
        likely = odds > FAINT_ODDS
        if gone is not None:
            likely &= ~gone
        faint = _faint(likely, mask, grown, places)
        found.ravel()[faint] = shares_of(odds.ravel()[faint])
    return found, odds


def _faint(likely, mask, grown, along) -> np.ndarray:
    """Flat indices beyond the outline's band that likely pixels join (8-connected) to the mask.

    The way may lead through the band, whose flat indices are `along`, and over gaps (`GAP_PX`).
    """
    beyond = np.flatnonzero(likely & (grown == 0))
    if not len(beyond):
        return beyond
    count, labels = patches(cv2.dilate(likely.view(np.uint8) | mask, window(GAP_PX)))
    joined = np.zeros(count, bool)
    joined[labels.ravel()[along[mask.ravel()[along] > 0]]] = True
    return beyond[joined[labels.ravel()[beyond]]]


def shares_of(odds: np.ndarray) -> np.ndarray:
    """Shares, 0 to 1, of log odds; arrays of one shape."""
    # tanh cannot overflow, whatever the odds
    return 0.5 + 0.5 * np.tanh(odds / 2)


def _shares_along(picture, mask, odds, places) -> np.ndarray:
    """Shares of leaf along the outline, by the colours on both sides and the network."""
    colours, expected = leaf_shares(picture, mask, places), shares_of(odds.ravel()[places])
    trust = 0.5 + 0.5 * np.clip((colours.purity - UNSURE_COLOUR) / FIRM, 0, 1)
    by_colour = np.where(colours.known, trust / COLOUR_VARIANCE, 0)
    by_network = 1 / (expected * (1 - expected) + LEAST_VARIANCE)
    return (by_network * expected + by_colour * colours.leaf) / (by_network + by_colour)
