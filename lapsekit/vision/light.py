"""Even out exposure and colour of a frame against the season's reference picture.

Sun, cloud and a camera's own automatics change how bright and how tinted the same bench is shown.
What does not grow (boards, pots, soil, labels) sends back the same share of light every day, so
the ratio of frame to reference on it tells the change. A moving shadow makes that ratio take
several values at once, one where sun met sun, others where sun met shade: the most common one is
taken, not the mean, and all three channels are read at the same pixels. A grey card is one
witness more, never the only one: cards alone correct poorly (Sunoj et al. 2018, Computers and
Electronics in Agriculture 151), so it is believed where it agrees with the surroundings, or where
these say nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.vision.colour import LINEAR
from lapsekit.vision.pictures import reduced
from lapsekit.vision.reduction import reduced_matrix, reduced_points
from lapsekit.vision.regions import region_mask

READ_AT_PX = 480
"""Long side at which light is read, in px."""

_DARKEST, _BRIGHTEST = 12, 248
"""Levels between which a channel is read: below, one level is over 10 % of the linear light;
above, it may be clipped."""

_FEWEST_PX, _MOST_PX = 400, 20_000
_FEWEST_SHARE = 0.01
_BIN, _WIDTH = 0.02, 0.08
_NEAR = 0.15
_CARD_UNEVEN = 0.06
_GREEN_PX = 5
_CARD_FEWEST_PX = 40
_AGREED = 0.04

_LOG = np.log(np.maximum(LINEAR, 1e-6))


@dataclass(frozen=True)
class Light:
    """How a frame's light must be changed to be like the reference picture's.

    Attributes
    ----------
    gains : (float, float, float)
        Factors on linear red, green and blue; their geometric mean is 1.
    exposure : float
        Factor on all three.
    method : str
        "surroundings", "grey card", "both", or "none" where nothing could be read.
    spread : float
        Robust standard deviation of the log ratio among the pixels that were believed; NaN where
        nothing could be read. 0.03 is 3 %.
    """

    gains: tuple[float, float, float]
    exposure: float
    method: str
    spread: float


UNCHANGED = Light((1.0, 1.0, 1.0), 1.0, "none", float("nan"))


def even_out(
    picture: np.ndarray,
    reference: np.ndarray,
    still: np.ndarray | None = None,
    card: Sequence[tuple[float, float]] | None = None,
    matrix: np.ndarray | None = None,
) -> Light:
    """What makes a frame's light like the reference picture's.

    Wanted before canopy is told from ground: ``classify(corrected(picture, light), ...)``.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB, as it was taken.
    reference : ndarray of uint8, shape (height, width, 3)
        RGB; of the picture's size, or as `small` makes it.
    still : ndarray of bool, shape (height, width), optional
        What does not grow in the reference view: everything but plants and what moves. By
        default all that is not greener than grey in either picture; the most common ratio is not
        moved by the plants that this leaves in.
    card : sequence of (x, y), optional
        Outline of a grey card in px of the reference view.
    matrix : ndarray, shape (3, 3), optional
        Registration, from the reference view to the picture in px; without it the picture is
        taken to show the reference view.

    Returns
    -------
    Light
    """
    shown, before, by = small(picture), small(reference), smaller_by(picture.shape)
    if matrix is not None:
        shown = _laid_on(shown, reduced_matrix(np.asarray(matrix, np.float64), by), before.shape)
    around = from_surroundings(shown, before, still)
    if card is None:
        return around
    told = from_card(shown, before, reduced_points(card, by))
    if told is None or around.method == "none":
        return told or around
    apart = np.abs(np.log(told.gains) - np.log(around.gains)).max()
    if apart > _AGREED:
        return around
    gains = np.exp((np.log(told.gains) + np.log(around.gains)) / 2)
    return Light(tuple(map(float, gains)), around.exposure, "both", around.spread)


def small(picture: np.ndarray) -> np.ndarray:
    """A picture as its light is read: a whole number of times smaller, about `READ_AT_PX` long."""
    by = smaller_by(picture.shape)
    return picture if by == 1 else reduced(picture, by)


def smaller_by(shape: tuple[int, ...]) -> int:
    """How many times smaller a picture of (height, width) is read for its light."""
    return max(1, round(max(shape[:2]) / READ_AT_PX))


def _laid_on(picture: np.ndarray, matrix: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """What the reference view shows of it; black, out of range, where it shows nothing."""
    return cv2.warpPerspective(
        picture, matrix, shape[1::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )


def from_surroundings(
    picture: np.ndarray, reference: np.ndarray, still: np.ndarray | None = None
) -> Light:
    """Robust colour constancy from what does not grow; parameters and result as `even_out`.

    The log ratio of luminance, reference to frame, is collected over all pixels that are still
    and within range in both; its mode is found (kernel of 0.08 log units), and the medians of the
    three channels are taken over the pixels within 0.15 of it.
    """
    shown, before = small(picture), small(reference)
    use = cv2.bitwise_and(_in_range(shown), _in_range(before))
    if still is not None:
        whole = small(still.view(np.uint8) * np.uint8(255))
        use &= (whole == 255).view(np.uint8)  # a reduced pixel that is still throughout
    else:
        use = _without_green(use, shown, before)
    chosen = np.flatnonzero(use)
    if len(chosen) < max(_FEWEST_PX, _FEWEST_SHARE * use.size):
        return UNCHANGED
    chosen = chosen[:: -(-len(chosen) // _MOST_PX)]
    pixels = (p.reshape(-1, 3)[chosen] for p in (before, shown))
    ratios = np.subtract(*(_LOG[levels] for levels in pixels))
    level = ratios.mean(axis=1)
    near = ratios[np.abs(level - mode(level)) <= _NEAR]
    middle = np.median(near, axis=0)
    return light_of(middle, "surroundings", _spread(near - middle))


def from_card(
    picture: np.ndarray, reference: np.ndarray, card: Sequence[tuple[float, float]]
) -> Light | None:
    """Light by a grey card; None where the card cannot be believed.

    Parameters
    ----------
    picture, reference : ndarray of uint8, shape (height, width, 3)
        RGB, both in the reference view.
    card : sequence of (x, y)
        Its outline in px.

    Returns
    -------
    Light or None
        None if the card, in either picture, is clipped or too dark, is lit unevenly by more than
        6 % (a shadow's edge, a leaf or a hand over it), or is smaller than 40 px.
    """
    shown = [card_colour(p, card) for p in (reference, picture)]
    if shown[0] is None or shown[1] is None:
        return None
    (before, even_before), (now, even_now) = shown
    return light_of(before - now, "grey card", max(even_before, even_now))


def corrected(picture: np.ndarray, light: Light) -> np.ndarray:
    """The picture in the reference's light, by one table a channel.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB, sRGB-encoded.
    light : Light

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
    """
    factors = np.asarray(light.gains) * light.exposure
    linear = np.clip(LINEAR[:, None] * factors, 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    tables = np.round(255 * encoded).astype(np.uint8).T
    # Plane by plane: OpenCV's own way with three tables takes three times as long
    planes = zip(cv2.split(picture), tables, strict=True)
    return cv2.merge([cv2.LUT(plane, np.ascontiguousarray(table)) for plane, table in planes])


def together(one: Light, other: Light) -> Light:
    """Both changes, one after the other; method and spread are those of `one`."""
    if other is UNCHANGED:
        return one
    gains = tuple(a * b for a, b in zip(one.gains, other.gains, strict=True))
    return Light(gains, one.exposure * other.exposure, one.method, one.spread)


def _in_range(picture: np.ndarray) -> np.ndarray:
    return cv2.inRange(picture, (_DARKEST,) * 3, (_BRIGHTEST,) * 3)


def _without_green(use: np.ndarray, *pictures: np.ndarray) -> np.ndarray:
    """Pixels to use less those that are greener than grey in any picture, unless few remain."""
    rest = use.copy()
    for picture in pictures:
        red, green, blue = cv2.split(cv2.blur(picture, (_GREEN_PX, _GREEN_PX)))
        greener = cv2.min(cv2.compare(green, red, cv2.CMP_GT), cv2.compare(green, blue, cv2.CMP_GT))
        rest[greener > 0] = 0
    enough = np.count_nonzero(rest) >= _FEWEST_SHARE * rest.size
    return rest if enough else use


def log_colours(picture: np.ndarray) -> np.ndarray:
    """Logarithms of linear red, green and blue (n, 3) of the pixels that are within range."""
    return _LOG[picture[_in_range(picture) > 0]]


def mode(values: np.ndarray) -> float:
    """Most common value, by a smoothed histogram with bins that move with the values."""
    low = float(np.median(values)) - 150.5 * _BIN
    number = np.clip(((values - low) / _BIN).astype(int), 0, 300)
    counts = np.bincount(number, minlength=301).astype(np.float32)
    counts[[0, -1]] = 0  # whatever lies far beyond
    smooth = cv2.GaussianBlur(counts[None], (0, 0), _WIDTH / _BIN)[0]
    return low + (int(smooth.argmax()) + 0.5) * _BIN


def _spread(values: np.ndarray) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values, axis=0))))


def light_of(log_factors: np.ndarray, method: str, spread: float) -> Light:
    """The light whose factors on linear red, green and blue have these logarithms (3,)."""
    exposure = float(log_factors.mean())
    gains = np.exp(log_factors - exposure)
    return Light(tuple(map(float, gains)), float(np.exp(exposure)), method, spread)


def card_colour(
    picture: np.ndarray, card: Sequence[tuple[float, float]]
) -> tuple[np.ndarray, float] | None:
    """What a grey card looks like; None where it cannot be believed, as `from_card` says.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
    card : sequence of (x, y)
        Its outline in px of the picture.

    Returns
    -------
    colour : (3,) ndarray
        Logarithms of linear red, green and blue.
    spread : float
        Robust standard deviation of these.
    """
    inside = region_mask(picture.shape[:2], card)
    inside = cv2.erode(inside.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    pixels = picture[inside]
    if len(pixels) < _CARD_FEWEST_PX:
        return None
    usable = ((pixels >= _DARKEST) & (pixels <= _BRIGHTEST)).all(axis=1)
    if usable.mean() < 0.95:
        return None
    colour = _LOG[pixels[usable]]
    rows, columns = np.nonzero(inside)
    uneven = max(_uneven(colour, at[usable]) for at in (rows, columns))
    rough = float(np.percentile(np.abs(colour - np.median(colour, axis=0)), 95))
    if uneven > _CARD_UNEVEN or rough > 4 * _CARD_UNEVEN:
        return None
    return np.median(colour, axis=0), _spread(colour)


def _uneven(colour: np.ndarray, at: np.ndarray) -> float:
    """Largest difference of any channel's mean between thirds of the card along one axis."""
    edges = np.percentile(at, [33.3, 66.7])
    third = np.digitize(at, edges)
    means = [colour[third == k].mean(axis=0) for k in range(3) if np.any(third == k)]
    return float(np.ptp(means, axis=0).max()) if means else 0.0
