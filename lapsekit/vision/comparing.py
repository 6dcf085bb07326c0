"""How strange each place of a frame is, beside the frames it is compared with."""

from collections.abc import Sequence

import cv2
import numpy as np

from lapsekit.vision.aligning import aligned
from lapsekit.vision.likeness import unlikeness

STRANGE = 2.5
"""Times the typical unlikeness (root mean square); good cells pass it once in some thousand."""

_ODD = 1.6
"""What connects strange cells to one place and gives it its width (two thresholds, as for edges:
Canny 1986, IEEE TPAMI 8(6)): a limb may be like the bench in its middle, and is one limb still."""

_STRANGEST = 10.0
_THIN = np.ones((3, 3), np.uint8)
"""Cells one wide are the rim of a plant that grew, or an edge that moved; no finger is so thin."""


class Compared:
    """How strange each cell of a view is, after all comparisons so far."""

    def __init__(self, typical: np.ndarray, view: np.ndarray, least_excess: float):
        self.typical, self.view, self.least_excess = typical, view, least_excess
        self.strange = np.full(typical.shape[1:], np.inf, np.float32)
        self.unlike = np.zeros_like(typical)
        self._blobs: tuple[np.ndarray, int] | None = None

    def with_any(self, others: Sequence[np.ndarray]) -> None:
        """A cell is as strange as it is to the frame it is most like."""
        for other in others:
            self._explain(unlikeness(self.view, other))

    def with_two(self, others: Sequence[np.ndarray]) -> None:
        """The same, but two frames must agree: the next one may show the same visitor."""
        found = [unlikeness(self.view, other) for other in others]
        if len(found) < 2:
            return
        scores = np.stack([self._score(unlike) for unlike in found])
        second = np.argsort(scores, axis=0)[1]
        self._explain(np.take_along_axis(np.stack(found), second[None, None], axis=0)[0])

    def moved_with(self, other: np.ndarray) -> None:
        """Compare once more with a frame shifted and turned to lie on this one (a knock)."""
        moved = aligned(other, self.view)
        if moved is not None:
            self._explain(unlikeness(self.view, moved))

    def excess(self) -> float:
        """Excess of the strangest place as a share of the picture, 0 where it is too small."""
        return self._strangest()[1]

    def strange_share(self) -> float:
        """Share of cells that nothing explains."""
        return float((self.strange > STRANGE).mean())

    def place(self) -> np.ndarray:
        """Mask of cells, shape (height, width), of the strangest place."""
        return self._strangest()[0]

    def shines(self, thumbnail: bytes, place: np.ndarray) -> bool:
        """Whether most of a place is burnt out."""
        level = cv2.imdecode(np.frombuffer(thumbnail, np.uint8), cv2.IMREAD_COLOR).min(axis=2)
        size = place.shape[::-1]
        return float(np.median(cv2.resize(level, size)[place])) >= 235

    def _score(self, unlike: np.ndarray) -> np.ndarray:
        return np.sqrt(np.square(unlike / self.typical).sum(axis=0) / 3)

    def _explain(self, unlike: np.ndarray) -> None:
        score = self._score(unlike)
        better = score < self.strange
        self.strange = np.where(better, score, self.strange)
        self.unlike = np.where(better, unlike, self.unlike)
        self._blobs = None

    def _strangest(self) -> tuple[np.ndarray, float]:
        mask = cv2.morphologyEx((self.strange > _ODD).astype(np.uint8), cv2.MORPH_OPEN, _THIN)
        count, labels = cv2.connectedComponents(mask, connectivity=8)
        over = np.clip(self.strange, STRANGE, _STRANGEST) - STRANGE
        excess = np.bincount(labels.ravel(), over.ravel(), count)
        excess[0] = 0
        most = int(excess.argmax())
        share = float(excess[most]) / mask.size
        return labels == most, share if share > self.least_excess else 0.0


def where(place: np.ndarray) -> str:
    """Words for where the middle of a mask lies: "in the lower left", "on the right"."""
    rows, columns = np.nonzero(place)
    height, width = place.shape
    row = ("upper ", "", "lower ")[int(3 * rows.mean() / height)]
    column = ("left", "middle", "right")[int(3 * columns.mean() / width)]
    beside = not row and column != "middle"
    return f"{'on' if beside else 'in'} the {row}{column}"
