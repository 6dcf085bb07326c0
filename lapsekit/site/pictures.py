"""The site's pictures: upright, without metadata, in several sizes; the ribbon's slices; crops.

Every picture is decoded to bare pixels before it is encoded, so that nothing a camera wrote
beside them (place, device, owner) can leave the season folder.
"""

import hashlib
import io
from collections.abc import Mapping, Sequence
from functools import cache

from PIL import Image, features

from lapsekit.vision import pictures

#: The middle one is for phones of 360 to 412 px that show up to two pixels on each.
WIDTHS = (480, 760, 1600)
#: A frame is shown at its own width too, for zooming, up to this.
MOST_WIDTH = 2560
#: A width is left out where the next one is less than this much wider.
_WORTH_IT = 1.15
#: No JPEG, for browsers and mail that know nothing newer, is wider than this.
MOST_FALLBACK = 1600
#: How daily pictures and crops are encoded: as fast as WebP, and smaller.
FINE = {
    "avif": {"quality": 55, "speed": 9, "max_threads": 1},
    "webp": {"quality": 70, "method": 4},
    "jpg": {"quality": 78, "optimize": True, "progressive": True},
}
#: How strips are: they are shown small, and every page loads some.
SMALL = {
    "avif": {"quality": 42, "speed": 8, "max_threads": 1},
    "webp": {"quality": 55, "method": 4},
    "jpg": {"quality": 65, "optimize": True, "progressive": True},
}
#: A column has the shape in which the ribbon shows it (24 by 123.5 px, or twice as wide).
COLUMN_WIDTH, WIDE_COLUMN, SLICE_HEIGHT = 36, 72, 185
_FORMATS = {"avif": "AVIF", "webp": "WEBP", "jpg": "JPEG"}


def modern_kind(has_avif: bool | None = None) -> str:
    """``avif``, or ``webp`` where Pillow was built without the library that writes AVIF."""
    return "avif" if (features.check("avif") if has_avif is None else has_avif) else "webp"


#: Kinds of files that a picture is kept in, the smaller first.
KINDS = (modern_kind(), "jpg")


def mark(*parts: object) -> str:
    """Twelve hexadecimal digits that change when a part, or a setting of this module, does."""
    told = _settings()[:-1] + f", {parts!r})"
    return hashlib.sha256(told.encode()).hexdigest()[:12]


@cache
def _settings() -> str:
    """All that shapes every picture, as text: each of a season's thousands of names asks for it."""
    settings = (WIDTHS, MOST_WIDTH, _WORTH_IT, MOST_FALLBACK, KINDS, FINE, SMALL)
    slices = (COLUMN_WIDTH, WIDE_COLUMN, SLICE_HEIGHT)
    return repr((settings, slices))


def sizes(width: int, height: int) -> tuple[tuple[int, int], ...]:
    """Sizes in which a picture is shown, small to large; never larger than it is."""
    most = min(width, MOST_WIDTH)
    smaller = [each for each in WIDTHS if most >= _WORTH_IT * each]
    return tuple((each, max(1, round(height * each / width))) for each in (*smaller, most))


def fallback_widths(widths: Sequence[int]) -> tuple[int, ...]:
    """Those of a picture's `widths` that have a JPEG: the largest that may, and a phone's."""
    most = max((each for each in widths if each <= MOST_FALLBACK), default=widths[0])
    half = [each for each in widths if WIDTHS[1] <= each <= most / 1.5]
    return (*half[-1:], most)


def decode(data: bytes, width: int, size: tuple[int, int]) -> Image.Image:
    """Upright RGB pixels of a frame, at the largest size in which it is shown.

    Parameters
    ----------
    data : bytes
        Content of a picture file.
    width : int
        The frame's width. One that is at least twice as wide as it will be shown is decoded
        smaller, which takes a quarter of the time and of the memory.
    size : (int, int)
        Width and height of what is returned. Larger frames are brought down to it before anything
        else is made of them, by averages: of 12 megapixels no second copy fits a small board.

    Raises
    ------
    PictureError
        If it cannot be decoded.
    """
    import cv2

    by = next((by for by in (8, 4, 2) if width >= by * size[0]), 1)
    pixels = pictures.decode(data, by)
    if pixels.shape[1::-1] != size:
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    return Image.fromarray(pixels)


def encode(
    picture: Image.Image,
    kind: str,
    options: Mapping[str, dict[str, object]] = FINE,
    *,
    alone: bool = False,
) -> bytes:
    """Bytes of `picture` as ``avif``, ``webp`` or ``jpg``, pixels only.

    A picture may be encoded in several threads at once: Pillow notes the options on the picture
    while it saves it, so each gets one of its own, unless the caller says that it is `alone`. It
    also writes the comment of a file that was opened into the new one: that is taken off.
    """
    target = io.BytesIO()
    bare = picture if alone else picture.copy()
    bare.info = {}
    bare.save(target, format=_FORMATS[kind], **options[kind])
    return target.getvalue()


def resized(picture: Image.Image, size: tuple[int, int]) -> Image.Image:
    """`picture` at `size`, or itself where it has that size."""
    if picture.size == size:
        return picture
    return picture.resize(size, Image.Resampling.LANCZOS, reducing_gap=3.0)


def slice_of(picture: Image.Image, centre: float) -> Image.Image:
    """The ribbon's slice of a picture: a vertical strip of its full height, two columns wide.

    Parameters
    ----------
    picture : PIL.Image.Image
        An upright picture.
    centre : float
        Middle of the strip as a share of the picture's width, 0 to 1.
    """
    width, height = picture.size
    across = min(width, height * WIDE_COLUMN / SLICE_HEIGHT)
    left = min(max(centre * width - across / 2, 0), width - across)
    return picture.resize(
        (WIDE_COLUMN, SLICE_HEIGHT),
        Image.Resampling.LANCZOS,
        box=(left, 0, left + across, height),
        reducing_gap=3.0,
    )


def sprite(slices: Sequence[Image.Image], column_width: int) -> Image.Image:
    """Middles of slices side by side, each `column_width` px wide."""
    whole = Image.new("RGB", (column_width * len(slices), SLICE_HEIGHT))
    left = (WIDE_COLUMN - column_width) // 2
    for number, picture in enumerate(slices):
        cut = picture.crop((left, 0, left + column_width, SLICE_HEIGHT))
        whole.paste(cut, (number * column_width, 0))
    return whole


def png(picture: Image.Image) -> bytes:
    """Lossless bytes of a slice, for the cache."""
    target = io.BytesIO()
    picture.save(target, format="PNG")
    return target.getvalue()


def opened_png(data: bytes) -> Image.Image:
    """A slice out of the cache."""
    with Image.open(io.BytesIO(data)) as picture:
        return picture.convert("RGB")
