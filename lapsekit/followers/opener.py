"""The process that opens a stranger's picture: bytes by stdin, bare pixels by stdout.

It is told ``MAGIC``, the largest side wanted and the number of bytes, then the bytes. It answers
with `HEAD`: ``MAGIC``, a code of `lapsekit.followers.reasons`, width and height, the day of the
EXIF date, then width × height × 3 bytes of sRGB, and nothing more. Text of its own it has no way to
tell. So whatever a picture makes of this process, all that can come out of it is another picture.

Nothing of the package is imported but what confines it.
"""

import io
import os
import re
import struct
import sys
import warnings
from collections.abc import Callable

from PIL import (
    ExifTags,
    Image,
    ImageCms,
    ImageFile,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    WebPImagePlugin,
)

from lapsekit.followers import confining, reasons

MAGIC = b"lkpix1"
ASKED = struct.Struct(">6sHI")
HEAD = struct.Struct(">6sBHH10s")

MOST_BYTES = 64 << 20
MOST_PIXELS = 60_000_000
LEAST_SIDE_PX = 64

LATE_NEEDS = (TiffImagePlugin,)
"""What Pillow would load when it meets EXIF; no file can be opened by then. TIFF files themselves
are not read."""

_DATE = re.compile(r"((?:19|20)\d\d):(0[1-9]|1[0-2]):([0-2]\d|3[01])\b")
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

Reader = Callable[[io.BytesIO], ImageFile.ImageFile]


class _Refused(Exception):
    def __init__(self, code: int):
        self.code = code


def main() -> None:
    """Get ready, be confined, open the picture that standard input holds."""
    confining.bound()
    warnings.simplefilter("error", Image.DecompressionBombWarning)
    warnings.filterwarnings("ignore", category=UserWarning)
    Image.MAX_IMAGE_PIXELS = MOST_PIXELS
    heif, srgb = _heif_reader(), ImageCms.createProfile("sRGB")
    if not confining.confine(sys.argv[1]):
        _answer(HEAD.pack(MAGIC, reasons.NOT_CONFINED, 0, 0, b""))
        os._exit(0)
    _answer(answered(heif, srgb))
    os._exit(0)  # without what Python would do at its end, which may need other calls


def answered(heif: Reader | None, srgb: object) -> bytes:
    """The answer to what standard input asks."""
    try:
        magic, side, size = ASKED.unpack(_read(ASKED.size))
        if magic != MAGIC or size > MOST_BYTES:
            raise _Refused(reasons.DAMAGED)
        picture, day = opened(_read(size), side, heif, srgb)
    except _Refused as error:
        return HEAD.pack(MAGIC, error.code, 0, 0, b"")
    except (MemoryError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        return HEAD.pack(MAGIC, reasons.TOO_LARGE, 0, 0, b"")
    except Exception:  # a damaged file can trip a decoder anywhere
        return HEAD.pack(MAGIC, reasons.DAMAGED, 0, 0, b"")
    return HEAD.pack(MAGIC, reasons.FINE, *picture.size, day.encode()) + picture.tobytes()


def opened(
    data: bytes, largest_side_px: int, heif: Reader | None, srgb: object
) -> tuple[Image.Image, str]:
    """A picture file -> its first picture, upright, in sRGB on white, no larger than wanted.

    Returns
    -------
    picture : PIL.Image.Image
        Mode RGB.
    day : str
        Like ``2031-04-17``, from EXIF; "" for none.
    """
    picture = _reader(data, heif)(io.BytesIO(data))
    if picture.width * picture.height > MOST_PIXELS:
        raise _Refused(reasons.TOO_LARGE)
    if min(picture.size) < LEAST_SIDE_PX:
        raise _Refused(reasons.TOO_SMALL)
    profile, (turn, day) = picture.info.get("icc_profile"), _exif(picture)
    if isinstance(picture, JpegImagePlugin.JpegImageFile):
        picture.draft(None, (2 * largest_side_px, 2 * largest_side_px))  # the least that is enough
    picture.load()
    made = _in_srgb(_reduced(_eight_bits(picture), largest_side_px), profile, srgb)
    made.thumbnail((largest_side_px, largest_side_px), Image.Resampling.LANCZOS)
    return (made.transpose(_TURNS[turn]) if turn in _TURNS else made), day


def _reader(data: bytes, heif: Reader | None) -> Reader:
    """What reads files of this kind, by their first bytes; one plugin, and no other is tried."""
    if data.startswith(b"\xff\xd8\xff"):
        return JpegImagePlugin.JpegImageFile
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return PngImagePlugin.PngImageFile
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return WebPImagePlugin.WebPImageFile
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        if heif is None:
            raise _Refused(reasons.NO_HEIF)
        return heif
    raise _Refused(reasons.WRONG_KIND if data else reasons.EMPTY)


def _heif_reader() -> Reader | None:
    """What reads HEIF, where pillow-heif is installed; in one thread."""
    try:
        import pillow_heif
    except ImportError:
        return None
    pillow_heif.options.DECODE_THREADS = 1
    pillow_heif.options.THUMBNAILS = False
    pillow_heif.options.AUX_IMAGES = False
    pillow_heif.options.DEPTH_IMAGES = False
    return pillow_heif.HeifImageFile


def _exif(picture: Image.Image) -> tuple[int, str]:
    """Orientation as EXIF counts, and the day the picture was taken on; 1 and "" if it is odd."""
    try:
        exif = picture.getexif()
        turn = exif.get(ExifTags.Base.Orientation)
        inner = exif.get_ifd(ExifTags.IFD.Exif)
        told = inner.get(ExifTags.Base.DateTimeOriginal) or exif.get(ExifTags.Base.DateTime)
        found = _DATE.match(told) if isinstance(told, str) else None
    except Exception:  # any damage; the picture may be fine
        return 1, ""
    return turn if isinstance(turn, int) else 1, "-".join(found.groups()) if found else ""


def _eight_bits(picture: Image.Image) -> Image.Image:
    """A picture of 16 bits by the higher eight; others as they are."""
    if picture.mode.startswith("I;16"):
        high = 0 if picture.mode.endswith("B") else 1
        return Image.frombytes("L", picture.size, picture.tobytes()[high::2])
    if picture.mode == "I":
        return picture.point(lambda value: value * (1 / 256)).convert("L")
    return picture


def _reduced(picture: Image.Image, largest_side_px: int) -> Image.Image:
    """By whole numbers, before colours are worked on, to at least twice what is wanted."""
    by = max(picture.size) // (2 * largest_side_px)
    if (
        by < 2
        or picture.mode not in ("L", "LA", "RGB", "RGBA", "CMYK")
        or ("transparency" in picture.info)
    ):
        return picture
    return picture.reduce(min(by, *picture.size))


def _in_srgb(picture: Image.Image, profile: bytes | None, srgb: object) -> Image.Image:
    """Transparency on white, then by the picture's colour profile where it can be used."""
    if picture.mode in ("P", "PA", "1") or "transparency" in picture.info:
        picture = picture.convert("RGBA")
    if picture.mode in ("RGBA", "LA", "RGBa", "La"):
        picture = picture.convert("RGBA")
        ground = Image.new("RGB", picture.size, (255, 255, 255))
        ground.paste(picture, mask=picture.getchannel("A"))
        picture = ground
    try:
        if profile:
            given = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            return ImageCms.profileToProfile(picture, given, srgb, outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        pass  # one that does not fit the picture
    return picture.convert("RGB")


def _read(size: int) -> bytes:
    parts = bytearray()
    while len(parts) < size:
        part = os.read(0, min(size - len(parts), 1 << 20))
        if not part:
            raise _Refused(reasons.DAMAGED)
        parts += part
    return bytes(parts)


def _answer(content: bytes) -> None:
    left = memoryview(content)
    while left:
        left = left[os.write(1, left) :]


if __name__ == "__main__":
    main()
