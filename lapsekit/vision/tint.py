"""How a lamp tints a bench, and what takes that off.

Daylight and the lamps of a house tint from blue to yellow, along one line, and grounds of all
kinds (soil, wood, stone, clay, plastic) are greener or more purple than grey by a tenth at most.
Lamps for plants are not bound to that line: under red and blue diodes grey things look purple, and
a model that learned what daylight shows takes soil for red leaves. So the reference view is looked
at, once a season: its grey card where there is one, otherwise the most common of its colours, which
is ground's while plants are small (Barnard, Cardei & Funt 2002, IEEE Transactions on Image
Processing 11: 972-984, compare ways to find a light's colour from a picture alone). Tints as
daylight has them stay as they are.
"""

from collections.abc import Sequence

import numpy as np

from lapsekit.vision.light import (
    UNCHANGED,
    Light,
    card_colour,
    light_of,
    log_colours,
    mode,
)

PURPLE = 0.15, 0.3
"""Log units of red and blue over green, in linear light, up to which ground may look as it does,
and from which on it is made grey; between, in part."""

YELLOW = 0.6, 1.0
"""The same of red over blue, either way, by a grey card alone: grounds differ by more."""

LEAST_SHARE = 0.5
"""Of the picture, without a card, that must be more purple than ground in daylight is; the tint is
that of as many of its pixels, those nearest to the most common one."""

LIGHTEST = 0.05
"""Of the picture's pixels, of which so many must be so too: beds of red leaves are purple, but not
what is lightest around them (labels, rims, wood) or on them (glints)."""

TINT_RULES = [*PURPLE, *YELLOW, LEAST_SHARE, LIGHTEST]
"""All that shapes the result, for a mark."""


def neutral(picture: np.ndarray, card: Sequence[tuple[float, float]] | None = None) -> Light:
    """What takes a lamp's tint off a picture, and off others in the same light.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, sRGB-encoded, of a bench whose plants are small; as `lapsekit.vision.light.small`
        makes it, since large ones tell nothing more.
    card : sequence of (x, y), optional
        Outline of a grey card in it, in px.

    Returns
    -------
    Light
        `UNCHANGED` where the tint is one that daylight may have, or cannot be told.
    """
    found = card and card_colour(picture, card)
    if found:
        return _without(found[0], found[1], "grey card")
    colours = log_colours(picture)
    if not len(colours):
        return UNCHANGED
    purple = (colours[:, 0] + colours[:, 2]) / 2 - colours[:, 1]
    light = colours.sum(axis=1)
    lightest = purple[light >= np.quantile(light, 1 - LIGHTEST)]
    if min(np.mean(purple > PURPLE[0]), np.mean(lightest > PURPLE[0])) < LEAST_SHARE:
        return UNCHANGED
    most = mode(purple)
    near = np.abs(purple - most)
    middle = np.median(colours[near <= np.quantile(near, LEAST_SHARE)], axis=0)
    # Of ground it is not known how yellow it is in daylight
    grey = (middle[0] + middle[2]) / 2
    return _without(np.array([grey, middle[1], grey]), float("nan"), "surroundings")


def _without(colour: np.ndarray, spread: float, method: str) -> Light:
    """Makes a colour (log red, green, blue), which is to be grey, as grey as it has to be."""
    red, green, blue = colour
    purple = _beyond((red + blue) / 2 - green, *PURPLE)
    yellow = _beyond(red - blue, *YELLOW)
    if not purple and not yellow:
        return UNCHANGED
    taken = np.array([-purple / 3 - yellow / 2, purple * 2 / 3, -purple / 3 + yellow / 2])
    return light_of(taken, method, spread)


def _beyond(tint: float, stays: float, goes: float) -> float:
    """What is taken of a tint: nothing up to one size, all from another on."""
    return tint * float(np.clip((abs(tint) - stays) / (goes - stays), 0, 1))
