"""Outlines that may hold plants that meet: told by the form of their leaves, and by their size.

From above nothing marks where one plant ends and the next begins, so this is a question to the
grower and no answer: nothing is divided by it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.vision.free_plants import plants_in
from lapsekit.vision.plant_rooms import Proposal
from lapsekit.vision.plant_rows import LONG
from lapsekit.vision.regions import region_mask

LENGTHY = 1.5
"""Leaves lie about a stem on all sides, so that those of one plant are seldom longer than broad by
so much: of the sample season's true masks one in fifty is, for a few days of its youth. Of two such
masks laid so that they meet, nineteen in twenty are (``tests/vision/test_meeting.py``)."""

LARGE = 2.5
"""Nor is one plant often so many times as large as others beside it, even of other crops."""

ALONE = ("plant", "pot")
"""Kinds of outlines that hold a plant whole; in a row or a tray its place sets its size."""

FEW = 3
"""With fewer others nobody knows what is large."""


@dataclass(frozen=True)
class Several:
    """What speaks for more than one plant in an outline.

    Attributes
    ----------
    elongation : float or None
        How many times as long as broad its leaves are; None where that says nothing.
    times_larger : float or None
        How many times as large as the others' (median) they are; None where that says nothing.
    """

    elongation: float | None
    times_larger: float | None

    @property
    def told(self) -> str:
        """The same in words."""
        told = []
        if self.elongation is not None:
            told.append(f"its leaves reach {self.elongation:g} times as far one way as the other")
        if self.times_larger is not None:
            told.append(f"it is {self.times_larger:g} times as large as the others")
        return ", and ".join(told)


def may_be_several(leaf: np.ndarray, proposals: Sequence[Proposal]) -> list[Several | None]:
    """Which proposed outlines look as if plants had met in them.

    Only where plants are told apart by their leaves: without a container, or in a long one. A
    plant that the picture's border cuts is asked for its size alone.

    Parameters
    ----------
    leaf : (H, W) bool ndarray
        Canopy at the latest sight.
    proposals : sequence of Proposal
        Outlines in px of `leaf`.

    Returns
    -------
    list of Several or None
        One for each; None where nothing speaks for it.
    """
    plants = [_largest(leaf & region_mask(leaf.shape, each.points)) for each in proposals]
    alone = [k for k, each in enumerate(proposals) if each.kind in ALONE and len(plants[k])]
    found: list[Several | None] = [None] * len(proposals)
    for number in alone:
        if _by_leaves(proposals[number]):
            others = [len(plants[k]) for k in alone if k != number]
            found[number] = _asked(plants[number], leaf.shape, others)
    return found


def _asked(plant: np.ndarray, shape: tuple[int, int], others: list[int]) -> Several | None:
    long = None if _is_cut(plant, shape) else _above(elongation(plant), LENGTHY)
    large = _above(len(plant) / float(np.median(others)), LARGE) if len(others) >= FEW else None
    return Several(long, large) if long or large else None


def elongation(points: np.ndarray) -> float:
    """How many times as long as broad points lie, by the ellipse of the same second moments.

    Parameters
    ----------
    points : (n, 2) ndarray
        Pixels, each a square of 1 px.

    Notes
    -----
    Hu 1962, IRE Transactions on Information Theory 8, doi:10.1109/TIT.1962.1057692.
    """
    spread = np.cov(points, rowvar=False, bias=True) + np.eye(2) / 12
    least, most = np.linalg.eigvalsh(spread)
    return float(np.sqrt(most / least))


def _by_leaves(proposal: Proposal) -> bool:
    """Whether nothing but leaves says that this is one plant."""
    if proposal.kind == "pot":
        _, sides, _ = cv2.minAreaRect(np.array(proposal.container, np.float32))
        return max(sides) >= LONG * min(sides)
    return proposal.kind == "plant"


def _largest(leaf: np.ndarray) -> np.ndarray:
    return max(plants_in(leaf), key=len, default=np.empty((0, 2)))


def _is_cut(points: np.ndarray, shape: tuple[int, int]) -> bool:
    return bool(points.min() < 2 or (points >= np.array(shape[::-1]) - 2).any())


def _above(value: float, limit: float) -> float | None:
    return round(value, 1) if value > limit else None
