"""In which corner of a film's picture the day's sheet stands: where it hides least. Pure."""

from collections.abc import Sequence
from typing import get_args

import cv2
import numpy as np

from lapsekit.film.face.room import Box, Room, meet
from lapsekit.film.face.told import Outline
from lapsekit.settings.film import Corner

CORNERS: tuple[Corner, ...] = get_args(Corner)
_GAP = 1.6
_ACROSS = 240
"""On a picture of so many px across it is counted what is hidden."""


def box_in(corner: Corner, room: Room, size: tuple[int, int], floor: int, taken: list[Box]) -> Box:
    """Where a sheet of `size` stands in a corner: on `floor` px, or below what is there above."""
    (width, height), (left, top, right, _) = size, room.safe
    upper, side = corner.split("-")[0] == "upper", corner.split("-")[1]
    left = left if side == "left" else right - width
    top = top if upper else floor - height
    for other in taken if upper else ():
        if meet((left, top, left + width, top + height), other):
            top = other[3] + room.px(_GAP)
    return left, top, left + width, top + height


def least_hiding(
    boxes: Sequence[Box], plants: Sequence[Sequence[Outline]], size: tuple[int, int]
) -> int:
    """Which of these boxes hides least of plants, all pictures together; of equals the first.

    Parameters
    ----------
    boxes : sequence of (left, top, right, bottom)
    plants : sequence of sequence of Outline
        The outlines on each of some pictures, in px.
    size : (int, int)
        Width and height of the pictures.
    """
    scale = _ACROSS / size[0]
    hidden = np.zeros(len(boxes), int)
    for outlines in plants:
        mask = np.zeros((max(1, round(size[1] * scale)), _ACROSS), np.uint8)
        for outline in outlines:
            cv2.fillPoly(mask, [np.rint(np.array(outline) * scale).astype(np.int32)], 1)
        for number, box in enumerate(boxes):
            left, top, right, bottom = (round(edge * scale) for edge in box)
            hidden[number] += np.count_nonzero(mask[top:bottom, left:right])
    return int(np.argmin(hidden))
