"""Flashes that may bring on seizures: where a film breaks WCAG 2.3.1, "three flashes or below".

WCAG 2.2, success criterion 2.3.1, and the definition of "general flash and red flash thresholds":
a general flash is a pair of opposing changes in relative luminance of 10 % or more of the maximum,
where the darker picture is below 0.80; a red flash is a pair of opposing transitions where either
state has R / (R + G + B) of 0.8 or more and the states are more than 0.2 apart in the CIE 1976 UCS
diagram. More than three within any one second are too many, unless they fill less than a quarter
of every 10-degree field: any rectangle of 341 × 256 px where the film fills a screen of
1024 × 768 px.

Every place of the picture is followed on its own. What is counted are transitions, from one
extreme to the next, however many pictures they take; two make a flash.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from lapsekit.vision.colour import LINEAR
from lapsekit.vision.figures import reduced

MOST_A_SECOND = 3
LEAST_STEP = 0.1
BRIGHT = 0.8
SATURATED = 0.8
LEAST_COLOUR_STEP = 0.2
LEAST_SHARE = 0.25
_SCREEN = (1024, 768)
_FIELD = (341, 256)

VIEW_PX = 48
"""Long side of a view: one of its pixels is a sixteenth of a 10-degree field wide."""

_LUMINANCE = np.float32([0.2126, 0.7152, 0.0722])
_TO_XYZ = np.float32([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
_PEDESTAL = np.float32(0.002)
"""Grey light added before colours are told: what is nearly black has none."""


@dataclass(frozen=True)
class Flash:
    """A place in a film with too many flashes.

    Attributes
    ----------
    second : float
        Where the first second with too many begins, in s from the start of the film.
    until_second : float
        Where the last such second ends.
    pairs : int
        The most flashes within one second.
    red : bool
        Whether they are red flashes.
    share : float
        The largest share of a 10-degree field that they fill, 0.25 to 1.
    """

    second: float
    until_second: float
    pairs: int
    red: bool
    share: float


def flash_view(picture: np.ndarray) -> np.ndarray:
    """What is kept of a film's picture to look for flashes.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB, sRGB-encoded.

    Returns
    -------
    ndarray of float16, shape (h, w, 3)
        Mean linear red, green and blue (0 to 1) of places, 48 along the longer side.
    """
    small = reduced(picture, 4 * VIEW_PX)  # fine detail has no say in whether a place flashes
    height, width = small.shape[:2]
    scale = VIEW_PX / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return cv2.resize(cv2.LUT(small, LINEAR), size, interpolation=cv2.INTER_AREA).astype(np.float16)


def flashes(views: Iterable[np.ndarray], frames_per_second: float) -> list[Flash]:
    """Places of a film that break the rule.

    Parameters
    ----------
    views : iterable of ndarray, shape (h, w, 3)
        From `flash_view`, of every picture of the film in order; read once, one second kept.
    frames_per_second : float

    Returns
    -------
    list of Flash
        In order; none where the film keeps the rule.
    """
    return joined(Watch(frames_per_second).see(views))


def joined(single: Iterable[Flash]) -> list[Flash]:
    """Flashes of one kind whose seconds overlap as one, which lasts as long as all of them."""
    found: list[Flash] = []
    last: dict[bool, int] = {}
    for flash in single:
        before = last.get(flash.red)
        if before is not None and flash.second <= found[before].until_second:
            found[before] = _joined(found[before], flash)
        else:
            last[flash.red] = len(found)
            found.append(flash)
    return found


def _joined(first: Flash, then: Flash) -> Flash:
    return replace(
        first,
        until_second=then.until_second,
        pairs=max(first.pairs, then.pairs),
        share=max(first.share, then.share),
    )


class Watch:
    """Looks for flashes picture by picture; may be put down anywhere, and taken up again.

    Parameters
    ----------
    frames_per_second : float
    """

    def __init__(self, frames_per_second: float):
        self._rate, self._number = frames_per_second, max(1, round(frames_per_second))
        self._count = 0
        self._followed = {False: _General(), True: _Red()}
        self._kept: dict[bool, deque] = {red: deque(maxlen=self._number) for red in self._followed}

    def see(self, views: Iterable[np.ndarray]) -> Iterator[Flash]:
        """Every second, ending with one of the next pictures, that holds too many flashes."""
        for view in views:
            self._count += 1
            light = np.asarray(view, np.float32)
            for red, places in self._followed.items():
                self._kept[red].append(places.turned(light))
                pairs = np.sum(self._kept[red], axis=0) // 2
                share = share_of_a_field(pairs > MOST_A_SECOND)
                if share >= LEAST_SHARE:
                    start = max(0, self._count - self._number) / self._rate
                    end = self._count / self._rate
                    yield Flash(start, end, int(pairs.max()), red, share)

    @property
    def state(self) -> dict[str, np.ndarray]:
        """All that is known of the pictures so far, at least one."""
        general, red = self._followed[False], self._followed[True]
        told = {"count": np.array(self._count)}
        told |= {f"general{k}": np.asarray(each) for k, each in enumerate(general.state)}
        told |= {f"red{k}": np.asarray(each) for k, each in enumerate(red.state)}
        return told | {f"kept{int(red)}": np.array(kept) for red, kept in self._kept.items()}

    @classmethod
    def at(cls, state: Mapping[str, np.ndarray], frames_per_second: float) -> "Watch":
        """One that goes on from a `state` of the same number of pictures a second."""
        found = cls(frames_per_second)
        found._count = int(state["count"])
        for name, places in (("general", found._followed[False]), ("red", found._followed[True])):
            places.state = tuple(state[f"{name}{k}"] for k in range(3))
        for red, kept in found._kept.items():
            kept.extend(state[f"kept{int(red)}"])
        return found


class _General:
    """Relative luminance of every place, followed from one extreme to the next."""

    def __init__(self):
        self.state = np.inf, -np.inf, 0

    @property
    def state(self) -> tuple:
        """Lowest and highest level since the last transition, and which way it goes."""
        return self._low, self._high, self._going

    @state.setter
    def state(self, state: tuple) -> None:
        self._low, self._high, self._going = state

    def turned(self, light: np.ndarray) -> np.ndarray:
        """Where this picture completes a transition; bool (h, w)."""
        level = light @ _LUMINANCE
        self._low, self._high = np.minimum(self._low, level), np.maximum(self._high, level)
        up = (level - self._low >= LEAST_STEP) & (self._low < BRIGHT) & (self._going < 1)
        down = (self._high - level >= LEAST_STEP) & (level < BRIGHT) & (self._going > -1) & ~up
        turned = up | down
        self._going = np.where(up, 1, np.where(down, -1, self._going))
        self._low, self._high = (np.where(turned, level, end) for end in (self._low, self._high))
        return turned


class _Red:
    """Colour of every place, followed from one extreme to the next along the way it took."""

    def __init__(self):
        self.state = None, None, None

    @property
    def state(self) -> tuple:
        """Colour of the last extreme, where it was red, and the way that colours take since."""
        return self._colour, self._red, self._way

    @state.setter
    def state(self, state: tuple) -> None:
        self._colour, self._red, self._way = state

    def turned(self, light: np.ndarray) -> np.ndarray:
        """Where this picture completes a transition from or to saturated red; bool (h, w)."""
        colour, red = _chromaticity(light)
        if self._colour is None:
            self._colour, self._red, self._way = colour, red, np.zeros_like(colour)
        off = colour - self._colour
        onward = (off * self._way).sum(axis=2)
        far = np.linalg.norm(off, axis=2)
        turned = (far > LEAST_COLOUR_STEP) & (red | self._red) & (onward <= 0)
        moved = turned | (onward > 0)
        way = off / np.maximum(far, 1e-6)[..., None]
        self._way = np.where(turned[..., None], way, self._way)
        self._colour = np.where(moved[..., None], colour, self._colour)
        self._red = np.where(moved, red, self._red)
        return turned


def _chromaticity(light: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """CIE 1976 u', v' of linear light, (h, w, 2), and where it is saturated red, (h, w)."""
    light = light + _PEDESTAL
    x, y, z = np.moveaxis(light @ _TO_XYZ.T, 2, 0)
    below = x + 15 * y + 3 * z
    red = light[..., 0] >= SATURATED * light.sum(axis=2)
    return np.stack([4 * x / below, 9 * y / below], axis=2), red


def share_of_a_field(flashing: np.ndarray) -> float:
    """The largest share of any 10-degree field that is flashing.

    Parameters
    ----------
    flashing : ndarray of bool, shape (h, w)
        Places of the whole picture, shown as large as a screen of 1024 × 768 px allows.

    Returns
    -------
    float
        0 to 1.
    """
    if not flashing.any():
        return 0.0
    height, width = flashing.shape
    px = min(_SCREEN[0] / width, _SCREEN[1] / height)
    across, down = (
        min(side, max(1, round(field / px)))
        for side, field in zip((width, height), _FIELD, strict=True)
    )
    sums = cv2.integral(flashing.astype(np.uint8))
    filled = sums[down:, across:] - sums[:-down, across:] - sums[down:, :-across]
    return float((filled + sums[:-down, :-across]).max() / (across * down))
