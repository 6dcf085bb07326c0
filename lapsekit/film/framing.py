"""Which window the film shows through the season: chosen once, and held still. Pure.

One window is shown as long as what the camera's views share is nearly as large as what each of
them shows. Where a lasting change of view would cost too much of the picture, the window moves
over about a second: to what both views show, then on to the new view's own. So nothing in the
picture jumps, and no moment shows what no frame shows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np

from lapsekit.film.covering import cover_of, depth_outside, largest_box, quad_of
from lapsekit.film.sharing import SLIVER_SHARE, Chooser, chosen, held
from lapsekit.film.windows import (
    Box,
    Size,
    Window,
    eased,
    filled,
    mixed,
    on_paper,
)
from lapsekit.vision.knocks import Knock

MOVE_S = 0.5
"""How long the window moves on each side of a change of view."""

_LEAST_SHARE = 0.25
"""A view counts if it shows at least so much, as a share of the width of the reference view."""


@dataclass(frozen=True)
class Stretch:
    """Frames that are shown through one window.

    Attributes
    ----------
    first : int
        Its first frame.
    window : Window
    covered : Box
        The largest box of the camera's own shape that its frames show: as far as a window that
        follows a region may go.
    """

    first: int
    window: Window
    covered: Box


@dataclass(frozen=True)
class Framing:
    """The windows of a film.

    Attributes
    ----------
    stretches : tuple of Stretch
        In order of time, at least one.
    joints : tuple of (Window or None)
        What is shown between a stretch and the next; None where they have too little in common,
        and the film cuts or fades.
    left_out : tuple of int
        Frames that show too little of their window, as one taken while the camera was held.
    cut_off : float
        Share of the area of what is wanted that lies outside a window, 0 to 1, at most.
    """

    stretches: tuple[Stretch, ...]
    joints: tuple[Window | None, ...]
    left_out: tuple[int, ...]
    cut_off: float = field(default=0.0)

    @property
    def boxes(self) -> tuple[Box, ...]:
        """The boxes of its windows: given to the next framing, they hold the picture still."""
        return tuple(stretch.window.box for stretch in self.stretches)

    def stretch_of(self, frame: int) -> int:
        """Number of the stretch that a frame belongs to."""
        return sum(stretch.first <= frame for stretch in self.stretches[1:])

    def windows(
        self, shown: Sequence[tuple[int, ...]], frames_per_second: float
    ) -> list[tuple[Window, ...]]:
        """The window of each frame in each picture of the film.

        Parameters
        ----------
        shown : sequence of tuple of int
            For each picture of the film, in order, the frames that it is painted from; stretches
            never come back.
        frames_per_second : float
            Of the film.

        Returns
        -------
        list of tuple of Window
            One for each frame of each picture; all of a picture are the same, but where a
            stretch is faded into one that it has no joint with.
        """
        numbers = [tuple(self.stretch_of(frame) for frame in frames) for frames in shown]
        spans = {
            number: [k for k, each in enumerate(numbers) if set(each) == {number}]
            for number in range(len(self.stretches))
        }
        reach = max(1.0, MOVE_S * frames_per_second)
        return [
            tuple(self._at(number, k, spans[number], reach) for number in each)
            for k, each in enumerate(numbers)
        ]

    def _at(self, number: int, picture: int, span: list[int], reach: float) -> Window:
        """The window of a stretch in a picture, on its way from a joint or to one."""
        own = self.stretches[number].window
        if not span:
            return next(filter(None, self._beside(number)), own)
        reach = max(1.0, min(reach, (span[-1] - span[0]) / 2))
        window = own
        for joint, away in zip(
            self._beside(number), (picture - span[0], span[-1] - picture), strict=True
        ):
            if joint is not None and away < reach:
                window = mixed(joint, window, eased(away / reach))
        return window

    def _beside(self, number: int) -> tuple[Window | None, Window | None]:
        """The joints before and after a stretch."""
        joints = (None, *self.joints, None)
        return joints[number], joints[number + 1]


def framed(
    placements: Sequence[np.ndarray | None],
    shape: tuple[int, int],
    size: Size,
    knocks: Sequence[Knock] = (),
    *,
    wanted: Sequence[Box] = (),
    fit: Literal["fill", "whole"] = "fill",
    previous: Sequence[Box] = (),
) -> Framing:
    """Choose the windows of a film.

    Parameters
    ----------
    placements : sequence of ndarray of float (3, 3) or None
        From the reference view to each frame, in order of time, at least one; None where a frame
        is taken as it is.
    shape : (height, width)
        Of the frames and of the reference view.
    size : (int, int)
        Width and height of the film's picture in px.
    knocks : sequence of Knock
        Lasting changes of view among `placements`.
    wanted : sequence of Box
        What shall be inside as far as it can: the regions. Windows are centred on them, or show
        as many of them as fit.
    fit : {"fill", "whole"}
        Whether the picture is filled, or shows all that the camera shows, on paper.
    previous : sequence of Box
        Windows of the same film made before, see `Framing.boxes`: each is kept while frames show
        it.

    Returns
    -------
    Framing
    """
    own = shape[1] / shape[0]
    starts, covers = _views(placements, shape, knocks)
    chooser = Chooser(covers, own if fit == "whole" else size[0] / size[1], shape, wanted)
    groups = [*held(chooser, previous)]
    after = groups[-1][1] if groups else 0
    groups += [*chosen(chooser, after)]

    def window_of(box: Box) -> Window:
        return on_paper(box, size, own) if fit == "whole" else filled(box, size)

    stretches = tuple(
        Stretch(starts[a], window_of(box), Chooser(covers[a:b], own, shape).box(0, b - a))
        for a, b, box in groups
    )
    joints = tuple(
        (joint := chooser.joint(one, other)) and window_of(joint) for one, other in pairwise(groups)
    )
    framing = Framing(stretches, joints, (), max(map(chooser.cut_off, [g[2] for g in groups])))
    return Framing(stretches, joints, _too_far(framing, placements, shape), framing.cut_off)


def _views(placements, shape, knocks):
    """First frames and covers of the views that show enough to be shown.

    Others are one with the view before, and their frames show too little of its window.
    """
    starts = [0, *(knock.at for knock in knocks)]
    every = [cover_of(placements[a:b], shape) for a, b in pairwise([*starts, len(placements)])]
    boxes = [largest_box(cover, shape[1] / shape[0]) for cover in every]
    least = _LEAST_SHARE * shape[1]
    kept = [k for k, box in enumerate(boxes) if box is not None and box[2] - box[0] >= least]
    if not kept:
        return [0], [cover_of([None], shape)]
    return [0, *(starts[k] for k in kept[1:])], [every[k] for k in kept]


def _too_far(framing: Framing, placements, shape) -> tuple[int, ...]:
    """Frames that lack more of their stretch's window than an edge drawn out may fill."""
    found = []
    for k, placement in enumerate(placements):
        box = framing.stretches[framing.stretch_of(k)].window.box
        quad = quad_of(placement, shape)
        if _outside(box, quad) > SLIVER_SHARE * max(shape):
            found.append(k)
    return tuple(found)


def _outside(box: Box, quad: np.ndarray) -> float:
    ahead = np.roll(quad, -1, 0) - quad
    normals = np.c_[ahead[:, 1], -ahead[:, 0]] / np.linalg.norm(ahead, axis=1)[:, None]
    return depth_outside(box, np.c_[normals, (normals * quad).sum(1)])
