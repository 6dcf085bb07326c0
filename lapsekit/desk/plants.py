"""A region's plant on a day, cut out of its daily picture where the region lies in it."""

from datetime import date

import numpy as np
from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.catalogue import Frame
from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.site.cropping import Sight, seen_days, sight_of
from lapsekit.site.crops import cut, reduction_for
from lapsekit.site.pairs import day_of_ours
from lapsekit.site.turning import Size, crop_matrix, crop_size_of, union_box
from lapsekit.viewing import View
from lapsekit.vision.pictures import decode_reduced

LONG_SIDE_PX = 480


def address(region: str, day: date) -> str:
    """Address of a plant's picture on a day."""
    return f"/plant/{region}/{day.isoformat()}"


def day_at_age(season: Season, region: Region, age_days: int) -> date | None:
    """The day whose picture stands beside a plant of that age, as on the site; None for none."""
    frames = season.pictures_of(region.camera)
    sight = sight_of(View(season, region.camera), frames)
    if sight is None:
        return None
    return day_of_ours(season.sown(region), age_days, seen_days([region], sight, frames))


def size_of(season: Season, region: Region, day: date) -> Size | None:
    """Width and height of that picture in px; None if there is none."""
    found = _sighted(season, region, day)
    return found and crop_size_of(found[2], found[1].size, LONG_SIDE_PX)


def _sighted(season: Season, region: Region, day: date) -> tuple[Frame, Sight, tuple] | None:
    """The day's frame, where it lies in the reference view, and the region's box there."""
    frames = season.pictures_of(region.camera)
    frame = frames.get(day)
    if frame is None:
        return None
    sight = sight_of(View(season, region.camera), frames)
    if sight is None or not sight.fits(frame):
        return None
    return frame, sight, union_box([region], sight.size)


def _plant(asked: Asked) -> Response:
    with asked.season() as season:
        region = season.regions.by_name.get(asked.named["region"])
        try:
            day = date.fromisoformat(asked.named["day"])
        except ValueError as error:
            raise HTTPException(404) from error
        found = _sighted(season, region, day) if region else None
        if found is None:
            raise HTTPException(404)
        frame, sight, box = found
        size = crop_size_of(box, sight.size, LONG_SIDE_PX)
        turn = sight.matrices.get(frame.path, np.eye(3)) @ crop_matrix(box, sight.size, size)
        by = reduction_for(turn, size)
        data = season.archive.read(frame.path)
    pixels = decode_reduced(data, by, (frame.height, frame.width))
    plant = pictures.as_jpeg(cut(pixels, turn, size, by), LONG_SIDE_PX)
    return Response(plant, media_type="image/jpeg")


ROUTES = (get("/plant/{region}/{day}", _plant),)
