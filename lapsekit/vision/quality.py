"""What is amiss with a frame by its numbers alone: all reasons but a visitor."""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from lapsekit.vision.figures import Figures
from lapsekit.vision.repeats import Repeats
from lapsekit.vision.usual import ENOUGH, Usual

FIRST = 4 * ENOUGH
"""The season's first frames, that stand in while too few lie before a frame."""

_DARKEST_BRIGHT = 0.10
"""Below 25 of 255 levels for the brightest surfaces, one level is 4 % of their light: leaf and
soil no longer differ by more than the steps between levels."""

_STOPS_DARKER, _STOPS_BRIGHTER = 3.0, 1.5
"""Three stops under, noise swamps colour; a leaf sends back about a third of the light, so one and
a half stops over, leaves clip."""

_GAMMA = 2.2
_CLIPPED_FLOOR, _CLIPPED_MORE = 0.35, 0.10

_VEIL_HARMLESS, _VEIL_MORE = 0.52, 0.20
_SOFT_VEIL_HARMLESS, _SOFT_VEIL_MORE, _SOFT = 0.45, 0.15, 0.95
"""A picture whose darkest things lie under half the mean has contrast enough, whatever the sky: in
linear light that is a quarter. From hard sun to overcast they rise by 0.1 to 0.2. Dew softens
edges besides, so where sharpness is 5 % under the usual, less of a veil is enough."""

_SHARPNESS_FLOOR, _SHARPNESS_KEPT, _TILE_KEPT = 0.40, 0.85, 0.65
"""A Gaussian blur of 1.2 px (at a long side of 1000 px) takes 15 % of the sharpness, and more than
that moves the edge of a leaf; in a tile the soft edge of one shadow already takes a quarter."""

_PATCH_FLOOR, _PATCH_MORE = 0.05, 0.01


@dataclass(frozen=True)
class Limits:
    """Fixed limits that the grower sets instead of what the season teaches; None to learn it.

    Attributes
    ----------
    dark_below : float or None
        Mean luminance under which a frame is dark, 0 to 1.
    blown_above : float or None
        Share of pixels with a clipped channel above which a frame is blown out, 0 to 1.
    blurred_above : float or None
        Blur effect above which a frame is blurred, 0 to 1.
    """

    dark_below: float | None = None
    blown_above: float | None = None
    blurred_above: float | None = None


@dataclass(frozen=True)
class Seen:
    """One frame as screening knows it: when it was taken, by the local clock, and its figures."""

    at: datetime
    figures: Figures


@dataclass(frozen=True)
class Verdict:
    """What screening holds of a frame.

    Attributes
    ----------
    reason : str or None
        One of `REASONS`; None for a usable frame.
    told : str
        The reason with its figure and what that was compared with; empty for a usable frame.
    watched : bool
        Whether the frame could be compared with enough others to see a visitor in it. A usable
        frame that was not watched may be measured, but nobody has looked for people in it.
    alone : bool
        Whether that is because too few other frames lie around it, or not yet.
    """

    reason: str | None
    told: str
    watched: bool
    alone: bool = False


class ByNumbers:
    """Judges frames by their numbers, in order of time, and learns from those that pass.

    Parameters
    ----------
    frames : sequence of Seen
        The season's frames; the first twenty stand in while too few lie before a frame.
    limits : Limits
    numbers : dict, optional
        What was learned before (`Learned.as_plain`), to go on from.
    """

    def __init__(self, frames: Sequence[Seen], limits: Limits, numbers: dict | None = None):
        self.limits = limits
        if numbers:
            zone = frames[0].at.tzinfo if frames else None
            self.usual = Usual.from_plain(numbers["usual"])
            self.repeats = Repeats.from_plain(numbers["repeats"], zone)
            return
        start = frames[:FIRST]
        self.usual = Usual([(seen.at, _row(seen.figures)) for seen in start])
        self.repeats = Repeats([seen.figures.grain for seen in start])

    def state(self) -> "Learned":
        """What is known now; stays so while judging goes on."""
        return Learned(copy(self.usual), self.repeats.copy())

    def judged(self, seen: Seen) -> Verdict:
        """Verdict by numbers alone: all reasons but a visitor."""
        at, figures = seen.at, seen.figures
        now, always = _Norm(self.usual.at_this_hour(at)), _Norm(self.usual.at_any_hour(at))
        told = _grey(figures) or self._exposure(figures, now) or self._again(at, figures)
        told = told or _glare(figures, now)
        told = told or _veil(figures, now, always) or self._sharpness(figures, always)
        reason = told.split(":")[0] or None
        if reason != "frozen":
            self.usual.teach(at, _row(figures), reason is None)
        return Verdict(reason, told, False)

    def _exposure(self, figures: Figures, usual: "_Norm") -> str:
        now, clipped = figures.luminance, figures.clipped
        shown = ""
        if usual.luminance is not None:
            shown = f" where this camera has {usual.luminance:.2f} at this hour"
        if self._is_dark(figures, usual.luminance):
            return f"dark: mean brightness {now:.2f}{shown}"
        fixed, often = self.limits.blown_above, usual.clipped
        most = _CLIPPED_FLOOR if often is None else often + _CLIPPED_MORE
        most = most if fixed is None else fixed
        if clipped > most:
            return f"blown out: colour is lost in {clipped:.0%} of the picture; at most {most:.0%}"
        if fixed is None and shown and now > usual.luminance * 2 ** (_STOPS_BRIGHTER / _GAMMA):
            return f"blown out: mean brightness {now:.2f}{shown}"
        return ""

    def _is_dark(self, figures: Figures, usual: float | None) -> bool:
        if self.limits.dark_below is not None:
            return figures.luminance < self.limits.dark_below
        if figures.brightest < _DARKEST_BRIGHT:
            return True
        return usual is not None and figures.luminance < usual * 2 ** (-_STOPS_DARKER / _GAMMA)

    def _again(self, at: datetime, figures: Figures) -> str:
        earlier = self.repeats.same_as(at, figures.grain)
        if earlier is None:
            return ""
        return f"frozen: the picture of {earlier:%d %B, %H:%M} again, with the same grain"

    def _sharpness(self, figures: Figures, usual: "_Norm") -> str:
        now, fixed, often = figures.sharpness, self.limits.blurred_above, usual.sharpness
        if fixed is not None or often is None:
            least = _SHARPNESS_FLOOR if fixed is None else 1 - fixed
            return f"blurred: sharpness {now:.2f}, at least {least:.2f}" if now < least else ""
        if now < often * _SHARPNESS_KEPT:
            return f"blurred: sharpness {now:.2f} where this camera has {often:.2f}; focus? wind?"
        for tile, before in zip(figures.tiles, usual.tiles, strict=True):
            if tile < before * _TILE_KEPT:
                return (
                    f"blurred: part of the picture has sharpness {tile:.2f} where it has "
                    f"{before:.2f} as a rule; a drop on the lens?"
                )
        return ""


@dataclass(frozen=True)
class Learned:
    """What is known of a camera's usual figures and grain after some frame."""

    usual: Usual
    repeats: Repeats

    def as_plain(self) -> dict[str, object]:
        """The same for JSON."""
        return {"usual": self.usual.as_plain(), "repeats": self.repeats.as_plain()}


_NUMBERS = ("luminance", "clipped", "veil", "sharpness", "white_patch")


def _row(figures: Figures) -> np.ndarray:
    return np.array([getattr(figures, name) for name in _NUMBERS] + list(figures.tiles))


class _Norm:
    """What is usual, by name; each None where too few frames are there to compare with."""

    def __init__(self, medians: np.ndarray | None):
        found = [None] * len(_NUMBERS) if medians is None else medians.tolist()
        self.luminance, self.clipped, self.veil, self.sharpness, self.white_patch = found[:5]
        self.tiles = found[5:]


def _grey(figures: Figures) -> str:
    """Black and white are grey too, but it is their exposure that is amiss."""
    if figures.brightest < _DARKEST_BRIGHT or figures.white > _CLIPPED_FLOOR:
        return ""
    if not figures.is_grey:
        return ""
    return "grey: a picture without colours, as cameras take them by infrared light at night"


def _veil(figures: Figures, now: _Norm, always: _Norm) -> str:
    usual = always.veil if now.veil is None else now.veil
    if usual is None and figures.sharpness > _SHARPNESS_FLOOR + 0.1:
        return ""
    if figures.veil <= _most_veil(figures, usual or 0, always.sharpness):
        return ""
    if usual is None:
        return f"hazed: a veil of {figures.veil:.2f} and soft edges; dew on the lens?"
    return (
        f"hazed: the darkest things are at {figures.veil:.2f} of the mean brightness where "
        f"this camera has {usual:.2f}; haze, or dew on the lens?"
    )


def _most_veil(figures: Figures, usual: float, sharp: float | None) -> float:
    if sharp is not None and figures.sharpness < sharp * _SOFT:
        return max(_SOFT_VEIL_HARMLESS, usual + _SOFT_VEIL_MORE)
    return max(_VEIL_HARMLESS, usual + _VEIL_MORE)


def _glare(figures: Figures, usual: _Norm) -> str:
    most = _PATCH_FLOOR if usual.white_patch is None else usual.white_patch + _PATCH_MORE
    if figures.white_patch <= most:
        return ""
    return (
        f"glare: one white patch covers {figures.white_patch:.1%} of the picture, at most "
        f"{most:.1%}; the sun's reflection?"
    )
