"""Is this a whole picture, how large, and when was it taken? Bytes in, facts out.

A truncated file is refused before it is filed. Of a JPEG this is seen by going through its segments
to the end mark, whose absence is all that a decoder would notice; other files are decoded.
"""

import io
import warnings
from dataclasses import dataclass
from datetime import datetime

from PIL import ExifTags, Image

from lapsekit.errors import PictureError
from lapsekit.frames.metadata import is_whole_jpeg
from lapsekit.frames.names import SUFFIXES

MAX_PIXELS = 150_000_000
SIDEWAYS = {5, 6, 7, 8}
"""EXIF orientations of pictures that are turned by a quarter to be upright."""


@dataclass(frozen=True)
class PictureFacts:
    """What a picture file says of itself.

    Attributes
    ----------
    suffix : str
        File suffix that fits its format, whatever the file was called.
    width, height : int
        Size in pixels of the upright picture (EXIF orientation applied).
    taken : datetime or None
        EXIF time of the exposure; timezone-aware only if the camera wrote an offset.
    tells_writing : bool
        Whether EXIF tells when the file was last written (DateTime): a camera does, and so does
        every program that saves it anew, so that it is no time of exposure.
    """

    suffix: str
    width: int
    height: int
    taken: datetime | None
    tells_writing: bool


def inspect(data: bytes) -> PictureFacts:
    """Check that `data` is one whole picture and read its facts.

    Parameters
    ----------
    data : bytes
        Content of a JPEG, PNG or WebP file.

    Returns
    -------
    PictureFacts

    Raises
    ------
    PictureError
        If `data` is empty, of another kind, truncated or damaged, or larger than 150 megapixels.
    """
    if not data:
        raise PictureError("the file is empty (0 bytes)")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(data), formats=tuple(SUFFIXES)) as picture:
                return _facts(picture, is_whole_jpeg(data))
        except Image.DecompressionBombError as error:
            raise PictureError(f"larger than {MAX_PIXELS // 10**6} megapixels; refused") from error
        except Image.UnidentifiedImageError as error:
            raise PictureError("not a JPEG, PNG or WebP picture") from error
        except PictureError:
            raise
        except Exception as error:  # a damaged file can trip a decoder anywhere
            raise PictureError(f"truncated or damaged ({error})") from error


def _facts(picture: Image.Image, is_whole: bool) -> PictureFacts:
    width, height = picture.size
    if width * height > MAX_PIXELS:
        raise PictureError(
            f"{width} x {height} pixels are more than {MAX_PIXELS // 10**6} megapixels; refused"
        )
    exif = picture.getexif()
    suffix = SUFFIXES["JPEG" if picture.format == "MPO" else picture.format]
    if not is_whole:
        picture.draft("RGB", (max(1, width // 8), max(1, height // 8)))
        picture.load()
    if exif.get(ExifTags.Base.Orientation) in SIDEWAYS:
        width, height = height, width
    tells_writing = bool(str(exif.get(ExifTags.Base.DateTime, "")).strip("\0 "))
    return PictureFacts(suffix, width, height, _exposure_time(exif), tells_writing)


def _exposure_time(exif: Image.Exif) -> datetime | None:
    """EXIF DateTimeOriginal (or -Digitized) with its offset, if both can be read."""
    ifd = exif.get_ifd(ExifTags.IFD.Exif)
    for tag, offset_tag in (
        (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal),
        (ExifTags.Base.DateTimeDigitized, ExifTags.Base.OffsetTimeDigitized),
    ):
        text = str(ifd.get(tag, "")).strip("\0 ")
        offset = str(ifd.get(offset_tag, "")).strip("\0 ")
        for value, form in ((text + offset, "%Y:%m:%d %H:%M:%S%z"), (text, "%Y:%m:%d %H:%M:%S")):
            try:
                return datetime.strptime(value, form)
            except ValueError:
                continue
    return None
