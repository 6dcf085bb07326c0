"""Is a frame fit to be measured and shown?

`figures_of` (`lapsekit.vision.figures`) takes a few numbers of each frame; `judge` compares them
with what this camera usually shows. A camera under a dim roof is not dark, a bench of pale sand
is not blown out and a coarse lens is not blurred: what is amiss is what differs from the season's
own frames, at this hour where the hour matters. Only where too few frames are there to compare
with do fixed floors decide, set where a picture cannot be measured whatever the camera.

Reasons, the first that applies: *dark*, *blown out*, *frozen* (the same picture again), *glare*,
*hazed* (haze, or dew on the lens), *blurred*, *obstructed* (somebody or something between camera
and bench).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from lapsekit.vision.figures import Figures
from lapsekit.vision.repeats import Repeats
from lapsekit.vision.usual import ENOUGH, Usual
from lapsekit.vision.visitors import Memory, Presence, visitors

REASONS = ("dark", "blown out", "frozen", "glare", "hazed", "blurred", "obstructed")

_FIRST = 4 * ENOUGH
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


def judge(frames: Sequence[Seen], limits: Limits | None = None) -> list[Verdict]:
    """Judge the frames of one camera.

    Parameters
    ----------
    frames : sequence of Seen
        In order of time.
    limits : Limits, optional
        What the grower has fixed by hand.

    Returns
    -------
    list of Verdict
        One for each frame, in their order.

    Notes
    -----
    Each frame is judged by those before it, except that

    - the first few frames of a season (until `usual.ENOUGH` good ones lie before, at their hour)
      are compared with the season's first twenty, which may lie after them;
    - an *obstructed* frame becomes usable once two later frames, an hour or more after it, show
      the same: then the bench itself was changed (pots moved, plants cut). A frame that passed is
      never called obstructed by a later one, unless too few lay before it.

    The cost is linear in the number of frames: each is compared with at most eleven others.
    """
    return judge_on(frames, limits).verdicts


@dataclass(frozen=True)
class Judged:
    """Verdicts, and what it takes to go on from them.

    Attributes
    ----------
    verdicts : list of Verdict
        Of the last frames: all after those that were settled before.
    settled : int
        Frames, from the first, whose verdict no later frame can change.
    memory : Memory or None
        What watching for visitors has learned from these.
    """

    verdicts: list[Verdict]
    settled: int
    memory: Memory | None


def judge_on(
    frames: Sequence[Seen], limits: Limits | None = None, memory: Memory | None = None
) -> Judged:
    """Judge frames, going on from where an earlier judging of the first of them stood.

    The verdicts are those that `judge` gives. Before the season's first twenty frames are there,
    nothing is settled.

    Parameters
    ----------
    frames : sequence of Seen
        In order of time, with those that were settled.
    limits : Limits, optional
        The same as then.
    memory : Memory, optional
        As the earlier judging gave it.

    Returns
    -------
    Judged
    """
    judging = _Judging(frames, limits or Limits())
    found = [judging.judged(seen) for seen in frames]
    clear = [i for i, verdict in enumerate(found) if verdict.reason is None]
    done = clear[memory.looked_at - 1] + 1 if memory else 0
    seen = [(frames[i].at, frames[i].figures.thumbnail) for i in clear]
    presences, memory = visitors(seen, memory)
    for i, presence in zip(clear[len(clear) - len(presences) :], presences, strict=True):
        found[i] = _of_presence(presence)
    if memory is None or len(frames) < _FIRST:
        return Judged(found[done:], 0, None)
    return Judged(found[done:], clear[memory.looked_at - 1] + 1, memory)


def _of_presence(presence: Presence) -> Verdict:
    if not presence.share:
        return Verdict(None, "", presence.watched, presence.alone)
    reason = "glare" if presence.shining else "obstructed"
    what = "a burnt-out patch lies" if presence.shining else "something stands"
    guess = "the sun's reflection?" if presence.shining else "a person, a tool?"
    told = (
        f"{reason}: {what} {presence.place}, over {presence.share:.1%} of the picture, unlike the "
        f"{presence.compared_with} frames it was compared with; {guess}"
    )
    return Verdict(reason, told, presence.watched)


class _Judging:
    """Judges frames by their numbers, in order of time, and learns from those that pass."""

    def __init__(self, frames: Sequence[Seen], limits: Limits):
        self.limits = limits
        start = frames[:_FIRST]
        self.usual = Usual([(seen.at, _row(seen.figures)) for seen in start])
        self.repeats = Repeats([seen.figures.grain for seen in start])

    def judged(self, seen: Seen) -> Verdict:
        """Verdict by numbers alone: all reasons but a visitor."""
        at, figures = seen.at, seen.figures
        now, always = _Norm(self.usual.at_this_hour(at)), _Norm(self.usual.at_any_hour(at))
        told = self._exposure(figures, now) or self._again(at, figures) or _glare(figures, now)
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


_NUMBERS = ("luminance", "clipped", "veil", "sharpness", "white_patch")


def _row(figures: Figures) -> np.ndarray:
    return np.array([getattr(figures, name) for name in _NUMBERS] + list(figures.tiles))


class _Norm:
    """What is usual, by name; each None where too few frames are there to compare with."""

    def __init__(self, medians: np.ndarray | None):
        found = [None] * len(_NUMBERS) if medians is None else medians.tolist()
        self.luminance, self.clipped, self.veil, self.sharpness, self.white_patch = found[:5]
        self.tiles = found[5:]


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
