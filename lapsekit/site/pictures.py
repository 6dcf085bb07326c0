"""The site's pictures: upright, without metadata, in two sizes; and the ribbon's slices.

Every picture is decoded to bare pixels before it is encoded, so that nothing a camera wrote
beside them (place, device, owner) can leave the season folder.
"""

import hashlib
import io
from collections.abc import Sequence

from PIL import Image

from lapsekit.vision import pictures

LONG_SIDES = (640, 1600)
WEBP_QUALITY = 78
JPEG_QUALITY = 82
COLUMN_WIDTH, SLICE_WIDTH, SLICE_HEIGHT = 40, 80, 176
#: The widest that a WebP can be is 16 383 px.
SPRITE_WIDTH = 16_000
KINDS = {"webp": "WEBP", "jpg": "JPEG"}
_BLANK = (128, 124, 116)


def mark(*parts: object) -> str:
    """Twelve hexadecimal digits that change when a part, or a setting of this module, does."""
    settings = (LONG_SIDES, WEBP_QUALITY, JPEG_QUALITY, COLUMN_WIDTH, SLICE_WIDTH, SLICE_HEIGHT, 1)
    return hashlib.sha256(repr((settings, parts)).encode()).hexdigest()[:12]


def sizes(width: int, height: int) -> list[tuple[int, int]]:
    """Sizes in which a picture is shown, small to large; never larger than it is."""
    longest = max(width, height)
    sides = sorted({min(side, longest) for side in LONG_SIDES})
    return [
        (max(1, round(width * side / longest)), max(1, round(height * side / longest)))
        for side in sides
    ]


def decode(data: bytes) -> Image.Image:
    """Upright RGB pixels of a frame, as they are measured; raises `PictureError`."""
    return Image.fromarray(pictures.decode(data))


def encode(picture: Image.Image, suffix: str) -> bytes:
    """Bytes of `picture` as ``webp`` or ``jpg``, pixels only.

    A picture may be encoded in several threads at once: Pillow notes the options on the picture
    while it saves it, so each gets one of its own.
    """
    target = io.BytesIO()
    options = (
        {"quality": WEBP_QUALITY, "method": 4}
        if suffix == "webp"
        else {"quality": JPEG_QUALITY, "optimize": True, "progressive": True}
    )
    picture.copy().save(target, format=KINDS[suffix], **options)
    return target.getvalue()


def resized(picture: Image.Image, size: tuple[int, int]) -> Image.Image:
    """`picture` at `size`, or itself where it has that size."""
    if picture.size == size:
        return picture
    return picture.resize(size, Image.Resampling.LANCZOS, reducing_gap=3.0)


def strip(picture: Image.Image, centre: float) -> Image.Image:
    """The ribbon's slice of a picture: a vertical strip of its full height, two columns wide.

    Parameters
    ----------
    picture : PIL.Image.Image
        An upright picture.
    centre : float
        Middle of the strip as a share of the picture's width, 0 to 1.
    """
    width, height = picture.size
    across = min(width, height * SLICE_WIDTH / SLICE_HEIGHT)
    left = min(max(centre * width - across / 2, 0), width - across)
    return picture.resize(
        (SLICE_WIDTH, SLICE_HEIGHT),
        Image.Resampling.LANCZOS,
        box=(left, 0, left + across, height),
        reducing_gap=3.0,
    )


def sprite(slices: Sequence[tuple[Image.Image | None, int]]) -> Image.Image:
    """All slices of a ribbon side by side.

    Parameters
    ----------
    slices : sequence of (PIL.Image.Image or None, int)
        Each place's slice and its width in columns; None leaves a gap blank.

    Returns
    -------
    PIL.Image.Image
        Narrower slices are used where the whole would be wider than a WebP can be.
    """
    columns = sum(width for _, width in slices)
    each = max(1, min(COLUMN_WIDTH, SPRITE_WIDTH // columns))
    whole = Image.new("RGB", (each * columns, SLICE_HEIGHT), _BLANK)
    at = 0
    for picture, width in slices:
        if picture is not None:
            whole.paste(_middle(picture, width, each), (at, 0))
        at += each * width
    return whole


def _middle(picture: Image.Image, columns: int, each: int) -> Image.Image:
    """Middle of a slice, `columns` wide, at `each` px a column."""
    across = min(SLICE_WIDTH, COLUMN_WIDTH * columns)
    left = (SLICE_WIDTH - across) // 2
    cut = picture.crop((left, 0, left + across, SLICE_HEIGHT))
    return resized(cut, (each * columns, SLICE_HEIGHT))


def png(picture: Image.Image) -> bytes:
    """Lossless bytes of a slice, for the cache."""
    target = io.BytesIO()
    picture.save(target, format="PNG")
    return target.getvalue()
