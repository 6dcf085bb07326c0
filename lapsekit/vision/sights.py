"""What was seen of a bench at one time, and what is worked out of it once."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from lapsekit.vision.closed_lines import Container, closed_lines
from lapsekit.vision.rims import Agreement, Edges, find_rim, outer_rim


class Leaves:
    """Canopy at one time, in connected pieces.

    Parameters
    ----------
    leaf : (H, W) bool ndarray
    """

    def __init__(self, leaf: np.ndarray):
        count, self._labels = cv2.connectedComponents(leaf.view(np.uint8), connectivity=8)
        self._areas = np.bincount(self._labels.ravel(), minlength=count)

    def rooted_in(self, inside: np.ndarray) -> int:
        """Px of those pieces that lie for the most part inside: others hang in from beside."""
        within = np.bincount(self._labels[inside], minlength=len(self._areas))
        within[0] = 0
        return int(within[2 * within > self._areas].sum())


@dataclass(frozen=True, eq=False)
class Sight:
    """What was seen of a bench at one time.

    Attributes
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, in the reference view; best the median of some frames of a day.
    leaf : (H, W) bool ndarray
        Canopy in it.
    """

    picture: np.ndarray
    leaf: np.ndarray

    @cached_property
    def leaves(self) -> Leaves:
        """The canopy in its connected pieces."""
        return Leaves(self.leaf)

    @cached_property
    def colours(self) -> np.ndarray:
        """CIE L*a*b* of the picture, each 0 to 255: (H, W, 3) uint8."""
        return cv2.cvtColor(self.picture, cv2.COLOR_RGB2LAB)

    @cached_property
    def lines(self) -> list[Container]:
        """Closed lines that could be rims."""
        return closed_lines(self.picture, self.leaf)

    @cached_property
    def edges(self) -> Edges:
        """Edges of the picture, with their directions."""
        return Edges(self.picture, self.leaf)

    @cached_property
    def _kept(self) -> dict[tuple[str, bytes], tuple[np.ndarray, Agreement] | None]:
        return {}

    def rim_near(self, form: np.ndarray) -> tuple[np.ndarray, Agreement] | None:
        """As `find_rim`, looked for once."""
        key = ("near", form.tobytes())
        if key not in self._kept:
            self._kept[key] = find_rim(form, self.edges)
        return self._kept[key]

    def rim_around(self, form: np.ndarray) -> tuple[np.ndarray, Agreement]:
        """As `outer_rim`, looked for once."""
        key = ("around", form.tobytes())
        if key not in self._kept:
            self._kept[key] = outer_rim(form, self.edges)
        return self._kept[key]


def without_shadows(pictures: Sequence[np.ndarray]) -> np.ndarray:
    """One picture of a bench from some of different hours: shadows move, and rims do not.

    Parameters
    ----------
    pictures : sequence of (H, W, 3) uint8 ndarray
        In one view and one light.

    Returns
    -------
    (H, W, 3) uint8 ndarray
        Of every pixel the value that a quarter of the pictures exceed: glints are brighter.
    """
    place = (3 * (len(pictures) - 1) + 2) // 4
    return np.partition(np.stack(pictures), place, axis=0)[place]
