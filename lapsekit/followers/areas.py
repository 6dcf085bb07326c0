"""Which part of a follower's picture is shown, and what of it is blurred (pure)."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from lapsekit.errors import FollowerError
from lapsekit.followers.records import Box, Record

_MOST_BOXES = 40
_LEAST_CROP_PX = 64


@dataclass(frozen=True)
class Areas:
    """What is decided on the picture itself; together, so that neither is lost beside the other.

    Attributes
    ----------
    crop : tuple of int, optional
        The part that is shown: left, top, right, bottom in px; None for the whole picture.
    blurred : sequence of tuple of int
        All areas that are blurred.
    """

    crop: Box | None = None
    blurred: Sequence[Box] = ()


def with_areas(record: Record, areas: Areas) -> Record:
    """The record with these areas, and no others.

    Raises
    ------
    FollowerError
        If one lies outside of the picture, the part is smaller than 64 px, or more than forty areas
        are to be blurred.
    """
    if len(areas.blurred) > _MOST_BOXES:
        raise FollowerError(f"{record.id}: {len(areas.blurred)} areas; blur at most {_MOST_BOXES}")
    for box in areas.blurred:
        _require_inside(record, box, 1)
    if areas.crop is not None:
        _require_inside(record, areas.crop, _LEAST_CROP_PX)
    crop = None if areas.crop is None else tuple(map(int, areas.crop))
    return replace(record, crop=crop, blurred=tuple(tuple(map(int, b)) for b in areas.blurred))


def _require_inside(record: Record, box: Box, least_px: int) -> None:
    left, top, right, bottom = box
    facts = record.picture
    fits = left >= 0 and top >= 0 and right <= facts.width and bottom <= facts.height
    if not fits or min(right - left, bottom - top) < least_px:
        raise FollowerError(
            f"{record.id}: area {left}, {top}, {right}, {bottom} does not lie in the picture "
            f"({facts.width} × {facts.height} px), or has less than {least_px} px a side"
        )
