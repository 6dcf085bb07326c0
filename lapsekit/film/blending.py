"""From one picture of the film to the next: faded, or moved along with what moves in them. Pure.

Pictures are mixed as they are encoded, not in linear light. Encoded numbers are about even steps
to the eye, so a fade then goes as evenly in dark soil as on bright labels; in linear light the
brighter of the two would outshine the other for most of the way. It is also what a film's other
numbers (its levels and their tables) are told in.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.vision.evening import evened, log_luma

_LONG_SIDE_PX = 640
"""Movement is looked for in pictures reduced to this."""
_ROOM_PX, _ROOM_SHARE = 0.5, 0.01
_SOFT_PX = 4.0
_LEAST_GAIN = 0.8


@dataclass(frozen=True)
class Flow:
    """What moves where between two pictures, looked for once and used for all between them.

    Attributes
    ----------
    there, back : ndarray of float32, shape (h, w, 2)
        How far each place of the first picture has moved in the second, and the other way, in px
        of the reduced pictures.
    trust : ndarray of float32, shape (h, w)
        How sure this is, 0 to 1; soft at its borders.
    by : float
        How many times larger the pictures themselves are.
    """

    there: np.ndarray
    back: np.ndarray
    trust: np.ndarray
    by: float


def cross_fade(first: np.ndarray, second: np.ndarray, mix: float) -> np.ndarray:
    """A picture `mix` (0 to 1) of the way from the first to the second, of the same shape."""
    if mix <= 0 or first is second:
        return first
    return second if mix >= 1 else cv2.addWeighted(first, 1 - mix, second, mix, 0)


def flow_between(first: np.ndarray, second: np.ndarray) -> Flow:
    """Look for what moves between two pictures, whatever their light.

    Dense inverse search [1]_ on luminance freed of level and shading, both ways. A place is
    trusted where both ways agree [2]_ (it is hidden in neither picture) and where the pictures,
    moved half way to each other, are clearly more alike than they are as they stand.

    Parameters
    ----------
    first, second : ndarray of uint8, shape (height, width, 3)
        RGB, of one shape.

    References
    ----------
    .. [1] Kroeger, Timofte, Dai & Van Gool (2016), ECCV: Fast optical flow using dense inverse
       search.
    .. [2] Sundaram, Brox & Keutzer (2010), ECCV: Dense point trajectories by GPU-accelerated
       large displacement optical flow.
    """
    by = max(1.0, max(first.shape[:2]) / _LONG_SIDE_PX)
    size = tuple(round(side / by) for side in first.shape[1::-1])
    one, other = (_grey(picture, size) for picture in (first, second))
    search = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    there, back = search.calc(one, other, None), search.calc(other, one, None)
    sure = _agree(there, back) & _agree(back, there) & _is_gain(one, other, there, back)
    # Opened and shrunk, so that nothing unsure is drawn into what is moved
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    trust = cv2.erode(cv2.morphologyEx(sure.astype(np.float32), cv2.MORPH_CLOSE, kernel), kernel)
    return Flow(there, back, cv2.GaussianBlur(trust, (0, 0), _SOFT_PX), by)


def between_pictures(
    first: np.ndarray, second: np.ndarray, mix: float, flow: Flow | None = None
) -> np.ndarray:
    """A picture between two, in which what moves is on its way; faded where that is unsure.

    Both pictures are moved to the moment by flows approximated from the two known ones [1]_,
    and mixed.

    Parameters
    ----------
    first, second : ndarray of uint8, shape (height, width, 3)
        RGB, of one shape.
    mix : float
        0 is the first, 1 the second.
    flow : Flow, optional
        Of these two, by `flow_between`; looked for here if it is not given.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)

    References
    ----------
    .. [1] Jiang, Sun, Jampani, Yang, Learned-Miller & Kautz (2018), CVPR: Super SloMo, equation 4.
    """
    faded = cross_fade(first, second, mix)
    if not 0 < mix < 1 or first is second:
        return faded
    flow = flow or flow_between(first, second)
    if not flow.trust.any():
        return faded
    moved = cross_fade(*_moved(first, second, mix, flow), mix)
    size = first.shape[1::-1]
    trust = cv2.resize(flow.trust, size, interpolation=cv2.INTER_LINEAR)
    return cv2.blendLinear(moved, faded, trust, 1 - trust)


def _moved(first, second, mix, flow):
    """Both pictures moved to the moment `mix`."""
    to_first = mix * mix * flow.back - (1 - mix) * mix * flow.there
    to_second = (1 - mix) ** 2 * flow.there - mix * (1 - mix) * flow.back
    return _along(first, to_first, flow.by), _along(second, to_second, flow.by)


def _along(picture, way, by=1.0):
    """A picture read at each place moved by a flow of the picture `by` times smaller."""
    height, width = picture.shape[:2]
    places = way.copy() if by == 1.0 else cv2.resize(way * np.float32(by), (width, height))
    places[..., 0] += np.arange(width, dtype=np.float32)
    places[..., 1] += np.arange(height, dtype=np.float32)[:, None]
    return cv2.remap(picture, places, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _grey(picture, size):
    """Luminance freed of light, as 8 bits: what a movement search reads."""
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    plain = evened(log_luma(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)))
    return np.clip(128 + 40 * plain, 0, 255).astype(np.uint8)


def _agree(there, back):
    """Where one way followed by the other comes back to where it began."""
    home = there + _along(back, there)
    room = _ROOM_SHARE * ((there**2).sum(-1) + (back**2).sum(-1)) + _ROOM_PX
    return (home**2).sum(-1) <= room


def _is_gain(one, other, there, back):
    """Where both, moved half way, are more alike than as they stand, or alike anyway."""
    middle = (_along(one, (back - there) / 4), _along(other, (there - back) / 4))
    apart, still = (
        cv2.GaussianBlur(cv2.absdiff(a, b).astype(np.float32), (0, 0), _SOFT_PX)
        for a, b in (middle, (one, other))
    )
    return apart <= _LEAST_GAIN * still
