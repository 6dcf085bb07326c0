"""Ground that the reference frame shows bare: a pixel that still has its colour is hardly leaf.

A model that never saw this soil may take it for leaf: warm reddish compost for red lettuce. But the
frame that all others are registered to shows most of it without a plant, in the same place, and
light is evened to that frame's. So where the model is in doubt, a pixel is held against what lay
there, by its colour without its brightness, which shadow and water change (Horprasert, Harwood &
Davis 1999, A statistical approach for real-time robust background subtraction and shadow detection,
ICCV Frame-Rate Workshop). Of pixels with even odds whose colour is as it was one in twenty is
leaf; with a colour far from it, the model's word is right (``tests/fit_known_ground.py``). Of what
the model is sure it is not asked: red leaves lie close to the colour of some soils.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.vision.colour import opponent_logarithms
from lapsekit.vision.edges import window
from lapsekit.vision.reduction import reduced_matrix

SHRUNK = 2
"""Colours are compared at half the size, to which files keep them."""

SMOOTH_PX, AWAY_PX = 3, 1
"""Window over which the reference frame's are averaged, for crumbs of soil lie elsewhere after each
watering; and how far from what may be leaf ground must lie, in px of that size."""

BARE_ODDS = -1.0
"""Log odds in the reference frame below which a pixel counts as bare: three to one."""

MIDDLE, REACH = (-0.04, 0.0), (0.13, 0.15)
"""Change of ln G - ln R and of ln G - ln B that ground shows most often (wet soil is redder), and
how far from it a colour says nothing any more: leaves make both differences larger."""

MOST = 3.0
"""Log odds that are taken off in the middle, and ever fewer towards the rim."""

SURE, BESIDE_PX = 2.5, 4
"""Log odds from which leaf is sure, and how far from that its edge may lie, in px, where colours
and odds are mixtures: there nothing is taken off."""

GROUND_RULES = [SHRUNK, SMOOTH_PX, AWAY_PX, BARE_ODDS, *MIDDLE, *REACH, MOST, SURE, BESIDE_PX]
"""All that shapes the result beside the model's numbers, for a mark."""


@dataclass(frozen=True, eq=False)
class KnownGround:
    """What a reference frame shows bare, at half its size.

    Parameters
    ----------
    colours : (h, w, 2) float32 ndarray
        Differences of the channels' logarithms.
    bare : (h, w) uint8 ndarray
        255 where there is surely no leaf; 0 elsewhere.
    """

    colours: np.ndarray
    bare: np.ndarray

    @classmethod
    def of(cls, picture: np.ndarray, odds: np.ndarray) -> "KnownGround":
        """What a picture shows bare.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded, in the light that frames are judged in.
        odds : (H, W) float32 ndarray
            Log odds of leaf in it.
        """
        bare = cv2.erode(255 * (odds < BARE_ODDS).astype(np.uint8), window(SHRUNK * AWAY_PX + 1))
        small = cv2.resize(bare, _shrunk(bare.shape), interpolation=cv2.INTER_AREA)
        smooth = cv2.blur(_colours(picture), (SMOOTH_PX, SMOOTH_PX))
        return cls(smooth, cv2.compare(small, 255, cv2.CMP_EQ))

    def changed(self, picture: np.ndarray, matrix: np.ndarray) -> np.ndarray:
        """How colours differ in a frame from those of the ground that lay there.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            The frame, of the reference frame's size and in its light.
        matrix : (3, 3) ndarray
            From the reference view to the frame.

        Returns
        -------
        (H, W, 2) float32 ndarray
            Change of ln G - ln R and of ln G - ln B; NaN where no ground is known.
        """
        found = self._changed(picture, matrix)
        return cv2.resize(found, picture.shape[1::-1], interpolation=cv2.INTER_NEAREST)

    def _changed(self, picture: np.ndarray, matrix: np.ndarray) -> np.ndarray:
        """The same at half the size."""
        size, halved = _shrunk(picture.shape), reduced_matrix(matrix, SHRUNK)
        way = {"flags": cv2.INTER_LINEAR, "borderMode": cv2.BORDER_REPLICATE}
        found = _colours(picture) - cv2.warpPerspective(self.colours, halved, size, **way)
        found[cv2.warpPerspective(self.bare, halved, size) < 255] = np.nan
        return found

    def evidence(self, picture: np.ndarray, matrix: np.ndarray) -> np.ndarray:
        """What speaks against leaf in a frame.

        Parameters as for `changed`.

        Returns
        -------
        ((H + 1) // 2, (W + 1) // 2) float32 ndarray
            Log odds at half the size, from -`MOST` to 0; 0 where nothing is known.
        """
        changed = zip(cv2.split(self._changed(picture, matrix)), MIDDLE, REACH, strict=True)
        away = cv2.magnitude(*((each - middle) / reach for each, middle, reach in changed))
        return np.fmin(np.float32(MOST) * (away - 1), 0)  # NaN is 0 too


def settled(odds: np.ndarray, evidence: np.ndarray | None) -> np.ndarray:
    """A model's log odds with what is known of the ground.

    Parameters
    ----------
    odds : (H, W) float32 ndarray
        The model's.
    evidence : (h, w) float32 ndarray or None
        `KnownGround.evidence`, at half the size; None where nothing is known at all.

    Returns
    -------
    (H, W) float32 ndarray
    """
    if evidence is None:
        return odds
    found = cv2.resize(evidence, odds.shape[::-1], interpolation=cv2.INTER_LINEAR)
    found[cv2.dilate((odds > SURE).view(np.uint8), window(BESIDE_PX)) > 0] = 0
    found += odds
    return found


def _colours(picture: np.ndarray) -> np.ndarray:
    small = cv2.resize(picture, _shrunk(picture.shape), interpolation=cv2.INTER_AREA)
    return cv2.merge(cv2.split(opponent_logarithms(small))[1:])


def _shrunk(shape: tuple[int, ...]) -> tuple[int, int]:
    """Width and height at half the size, rounded up."""
    return -(-shape[1] // SHRUNK), -(-shape[0] // SHRUNK)
