"""Frames for the desk's pages, small or whole; which file is meant, the catalogue says."""

import io
import re
from datetime import UTC, datetime

import numpy as np
from PIL import Image, ImageOps
from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.catalogue import Frame
from lapsekit.desk.asking import Asked, get
from lapsekit.frames.names import stamp
from lapsekit.season import Season

SIDES_PX = (240, 480, 960, 1600)
"""Longer sides that pictures are shown in; a fixed few, so that nobody orders thousands of them."""

_STAMP = re.compile(r"\d{8}T\d{6}Z")


def address(frame: Frame, side_px: int = 960) -> str:
    """Address of a frame's picture on the desk."""
    return f"/picture/{frame.camera}/{stamp(frame.taken_at)}?side={side_px}"


def shown_size(frame: Frame, side_px: int) -> tuple[int, int]:
    """Width and height that a frame is shown in, in px."""
    by = min(1.0, side_px / max(frame.width, frame.height))
    return max(1, round(frame.width * by)), max(1, round(frame.height * by))


def find(season: Season, camera: str, moment: str) -> Frame | None:
    """The frame of a camera and a moment like ``20310417T113000Z``; None if there is none."""
    if not _STAMP.fullmatch(moment):
        return None
    taken_at = datetime.strptime(moment, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    of_day = season.catalogue.frames(camera, season.day_of(taken_at))
    return next((frame for frame in of_day if frame.taken_at == taken_at), None)


def small(data: bytes, side_px: int) -> bytes:
    """A picture file as a JPEG of `side_px` at most, upright, without what it says of itself."""
    with Image.open(io.BytesIO(data)) as picture:
        picture.draft("RGB", (side_px, side_px))
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    return as_jpeg(np.asarray(upright), side_px)


def as_jpeg(pixels: np.ndarray, side_px: int) -> bytes:
    """Pixels as a JPEG of `side_px` at most, which says nothing else.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
    side_px : int
        Of the longer side; a smaller picture is not enlarged.
    """
    shown = Image.fromarray(pixels)
    shown.thumbnail((side_px, side_px), Image.Resampling.LANCZOS, reducing_gap=2.0)
    out = io.BytesIO()
    shown.save(out, "JPEG", quality=88, optimize=True)
    return out.getvalue()


def asked_side(asked: Asked) -> int:
    """The longer side that is asked for, one of `SIDES_PX`; no page has another."""
    side = asked.query.get("side", "960")
    if side not in map(str, SIDES_PX):
        raise HTTPException(404)
    return int(side)


def _picture(asked: Asked) -> Response:
    side = asked_side(asked)
    with asked.season() as season:
        frame = find(season, asked.named["camera"], asked.named["moment"])
        if frame is None:
            raise HTTPException(404)
        mark = f'"{frame.sha256[:16]}-{side}"'
        headers = {"etag": mark, "cache-control": "private, no-cache"}
        if asked.etag == mark:
            return Response(status_code=304, headers=headers)
        data = season.archive.read(frame.path)
    return Response(small(data, side), media_type="image/jpeg", headers=headers)


ROUTES = (get("/picture/{camera}/{moment}", _picture),)
