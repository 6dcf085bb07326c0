"""Outlines of regions, proposed from containers that can be seen and from what grows.

A region is the room of one plant: its container, its leaves so far, and about as much beside them
as a plant outgrows its pot by, but no more than half the way to its neighbours. Regions never
overlap. A cell of a tray gets its share of the tray. In a long container plants that stand in a row
are told apart. Plants without a container get the room around their leaves; where leaves stand
everywhere, nothing tells plants apart, and the whole picture is one region.
"""

from collections.abc import Sequence

import cv2
import numpy as np

from lapsekit.vision.free_plants import Nearest, growing_free, plants_in
from lapsekit.vision.plant_rooms import Proposal, angle_of, outlines_of, things_of
from lapsekit.vision.sights import Sight
from lapsekit.vision.standing import Standing, standing

MOST_PLANTS = 40
STAND = 0.35
"""More plants without containers than that, or more of the picture under their leaves, are a
stand."""

CUT = 0.4
"""So are plants of which the picture's border cuts more than this share of the leaves, where no
container is seen: a camera over a bench shows plants whole."""

_STAND_CONFIDENCE = 0.3


def propose(sights: Sequence[Sight], stand: Sequence[Standing] | None = None) -> list[Proposal]:
    """Regions for what was seen.

    Parameters
    ----------
    sights : sequence of Sight
        At least one, oldest first; early ones show rims, late ones how far plants reach.
    stand : sequence of Standing, optional
        Containers on the bench at the latest sight; what `standing` finds by default.

    Returns
    -------
    list of Proposal
        From top to bottom and left to right; none where nothing grows.
    """
    shape = sights[-1].leaf.shape
    stand = standing(sights) if stand is None else stand
    places, seen = [each.container for each in stand], [each.seen for each in stand]
    nearest = Nearest(shape, places)
    loose = plants_in(nearest.owners(sights[-1].leaf)[1])
    if len(loose) > MOST_PLANTS or (not places and _goes_on(sights[-1].leaf, loose)):
        return _as_stand(shape)
    angle = angle_of(places)
    places += growing_free(sights, nearest)
    seen += [len(sights) - 1] * (len(places) - len(seen))
    owner, _ = nearest.owners(sights[-1].leaf)
    turn = cv2.getRotationMatrix2D((shape[1] / 2, shape[0] / 2), angle, 1)
    things = [
        thing
        for number, (place, last) in enumerate(zip(places, seen, strict=True))
        for thing in things_of(place, number, owner, sights, turn, last)
    ]
    return outlines_of(things, turn, shape)


def _goes_on(leaf: np.ndarray, plants: list[np.ndarray]) -> bool:
    """Whether leaves stand everywhere, or the picture's border cuts many: a bed that goes on."""
    if np.mean(leaf) > STAND:
        return True
    last = np.array(leaf.shape[::-1]) - 2
    cut = sum(len(points) for points in plants if points.min() < 2 or (points >= last).any())
    return cut > CUT * max(1, sum(map(len, plants)))


def _as_stand(shape: tuple[int, int]) -> list[Proposal]:
    height, width = shape
    corners = ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))
    return [Proposal(corners, "stand", _STAND_CONFIDENCE)]
