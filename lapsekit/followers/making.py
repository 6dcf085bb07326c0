"""Pixels -> the picture that is kept and shown: encoded, blurred, cropped (Pillow)."""

import io
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from PIL import Image, ImageFilter

from lapsekit.errors import FollowerError
from lapsekit.followers.records import Box, Record
from lapsekit.plain import one_line

QUALITY = 90
_BLOCKS = 8
_LEAST_BLOCK_PX = 6


def jpeg_of(width: int, height: int, pixels: bytes) -> bytes:
    """Bare sRGB pixels as a JPEG (4:4:4, quality 90) without any metadata."""
    return _encoded(Image.frombytes("RGB", (width, height), pixels))


def shown_size(record: Record) -> tuple[int, int]:
    """Width and height of a picture as it is shown, in px."""
    if record.crop is None:
        return record.picture.width, record.picture.height
    left, top, right, bottom = record.crop
    return right - left, bottom - top


def as_shown(record: Record, picture: bytes) -> bytes:
    """The kept picture with what the record says done to it: areas blurred, then cropped.

    Raises
    ------
    FollowerError
        If it is damaged.
    """
    if record.crop is None and not record.blurred:
        return picture
    with sound(record.id):
        made = _opened(picture)
        _blur(made, record.blurred)
        return _encoded(made if record.crop is None else made.crop(record.crop))


@contextmanager
def sound(record_id: str) -> Iterator[None]:
    """Whatever Pillow raises of a damaged picture as FollowerError: only that one is left out."""
    try:
        yield
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise FollowerError(
            f"{record_id}: its picture.jpg is damaged ({one_line(str(error), 100)}) and cannot be "
            f"shown; bring it back from a copy, or lapsekit followers take-down {record_id}"
        ) from error


def blurred(picture: bytes, boxes: Iterable[Box]) -> bytes:
    """A picture with areas made unrecognisable, for good.

    Each is averaged to at most eight blocks along its longer side, and these are blurred: what is
    left tells where something was, and its colours, and cannot be sharpened again.

    Parameters
    ----------
    picture : bytes
        A JPEG of ours.
    boxes : iterable of (left, top, right, bottom)
        In px, inside of the picture.
    """
    made = _opened(picture)
    _blur(made, boxes)
    return _encoded(made)


def _blur(picture: Image.Image, boxes: Iterable[Box]) -> None:
    for box in boxes:
        part = picture.crop(box)
        block = max(_LEAST_BLOCK_PX, -(-max(part.size) // _BLOCKS))
        coarse = part.resize(
            tuple(max(1, -(-side // block)) for side in part.size), Image.Resampling.BOX
        )
        again = coarse.resize(part.size, Image.Resampling.NEAREST)
        picture.paste(again.filter(ImageFilter.GaussianBlur(block / 2)), box)


def _opened(picture: bytes) -> Image.Image:
    made = Image.open(io.BytesIO(picture), formats=("JPEG",))
    return made.convert("RGB")


def _encoded(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    clean = Image.frombytes("RGB", picture.size, picture.tobytes())  # without what Pillow carries
    clean.save(out, "JPEG", quality=QUALITY, subsampling=0)
    return out.getvalue()
