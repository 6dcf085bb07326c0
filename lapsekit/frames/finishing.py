"""What is done to a captured picture before it is first written.

Privacy areas are blacked out, and of what the file carries beside its pixels all goes that is not
needed to show it: position, serial numbers, thumbnails that would show what was blacked out. The
time with the season's offset and the camera's name are written in. Only blacking out decodes and
encodes; it happens in a process of its own (`lapsekit.frames.blacking`), in memory.
"""

import io
import json
import subprocess
import sys
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from PIL import ExifTags, Image

from lapsekit.errors import CameraError, PictureError
from lapsekit.frames.inspection import SIDEWAYS, PictureFacts, inspect
from lapsekit.frames.metadata import with_metadata
from lapsekit.frames.names import SUFFIXES

TIME_LIMIT_S = 120.0
SOFTWARE = "lapsekit"

Outline = Sequence[tuple[float, float]]


def finished(
    data: bytes,
    *,
    taken_at: datetime | None,
    zone: ZoneInfo,
    camera: str,
    privacy: Sequence[Outline] = (),
    privacy_size_px: tuple[int, int] | None = None,
    as_it_is: bool = False,
) -> bytes:
    """A captured picture as it is to be filed.

    Parameters
    ----------
    data : bytes
        A whole JPEG, PNG or WebP file.
    taken_at : datetime or None
        Instant of the exposure; None while it is not known.
    zone : zoneinfo.ZoneInfo
        The season's; its time and offset are written in.
    camera : str
        The camera's name in season.toml.
    privacy : sequence of outlines
        Areas to black out, in px of the upright picture; what lies outside it does not matter.
    privacy_size_px : (width, height)
        Size of the upright pictures that these were drawn in, needed with them: in a picture of
        another size they would lie beside what they are to hide.
    as_it_is : bool
        Leave a picture without privacy areas byte for byte: for frames that are played again,
        which were finished when they were taken, and must stay the same files.

    Returns
    -------
    bytes
        The same pixels, but for privacy areas; without these they are not encoded again.

    Raises
    ------
    CameraError
        If privacy areas could not be blacked out, or are those of a picture of another size; the
        picture must not be written then.
    PictureError
        If the file is not put together as its kind should be.
    """
    if as_it_is and not privacy:
        return data
    local = None if taken_at is None else taken_at.astimezone(zone)
    exif = exif_of(local, camera, orientation_of(data))
    if privacy:
        require_size(data, privacy_size_px, camera)
        data = blacked_out(data, privacy, camera)
    return with_metadata(data, exif)


def require_size(data: bytes, drawn_for: tuple[int, int] | None, camera: str) -> None:
    """Refuse a picture of another size than the one its privacy areas are drawn for.

    Parameters
    ----------
    data : bytes
        A picture file.
    drawn_for : tuple of int or None
        Width and height of the upright picture; None where season.toml gives none.
    camera : str
        Its name in season.toml.

    Raises
    ------
    CameraError
        Names both sizes.
    """
    with Image.open(io.BytesIO(data), formats=tuple(SUFFIXES)) as picture:
        size = picture.size
    if orientation_of(data) in SIDEWAYS:
        size = size[::-1]
    if drawn_for is None or size != tuple(drawn_for):
        drawn = "a size that is not given" if drawn_for is None else _shown(drawn_for)
        raise CameraError(
            f'camera "{camera}": its picture is {_shown(size)} px, privacy areas are drawn for '
            f"{drawn}; set the camera's size, or draw them anew (privacy and privacy_size_px under "
            f"cameras.{camera} in season.toml). The picture was not written"
        )


def _shown(size: Sequence[int]) -> str:
    return f"{size[0]} × {size[1]}"


def orientation_of(data: bytes) -> int:
    """How a picture has to be turned to be upright: 1 to 8, as EXIF counts; 1 for not at all."""
    with Image.open(io.BytesIO(data), formats=tuple(SUFFIXES)) as picture:
        turned = picture.getexif().get(ExifTags.Base.Orientation)
    return turned if turned in range(1, 9) else 1


def exif_of(local: datetime | None, camera: str, orientation: int) -> bytes:
    """EXIF, as a TIFF structure, that holds these and nothing else.

    Parameters
    ----------
    local : datetime or None
        Of the exposure, in the season's zone; None while it is not known.
    camera : str
    orientation : int
    """
    exif = Image.Exif()
    exif[ExifTags.Base.ImageDescription] = camera
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Software] = SOFTWARE
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    inner[ExifTags.Base.ExifVersion] = b"0232"
    if local is not None:
        _write_time(exif, inner, local)
    return exif.tobytes().removeprefix(b"Exif\0\0")


def _write_time(exif: Image.Exif, inner: dict, local: datetime) -> None:
    stamp, offset = f"{local:%Y:%m:%d %H:%M:%S}", f"{local:%z}"
    offset = f"{offset[:3]}:{offset[3:5]}"
    exif[ExifTags.Base.DateTime] = stamp
    inner[ExifTags.Base.DateTimeOriginal] = stamp
    inner[ExifTags.Base.DateTimeDigitized] = stamp
    inner[ExifTags.Base.OffsetTime] = offset
    inner[ExifTags.Base.OffsetTimeOriginal] = offset
    inner[ExifTags.Base.OffsetTimeDigitized] = offset


def blacked_out(data: bytes, privacy: Sequence[Outline], camera: str) -> bytes:
    """A picture with its privacy areas black, made by a process of its own.

    Raises
    ------
    CameraError
        If that process failed, ran out of memory or time, or gave something else.
    """
    told = json.dumps({"privacy": privacy}).encode() + b"\n"
    command = [sys.executable, "-P", "-m", "lapsekit.frames.blacking"]
    try:
        done = subprocess.run(
            command, input=told + data, capture_output=True, timeout=TIME_LIMIT_S, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise _refused(camera, f"it took longer than {TIME_LIMIT_S:g} s") from error
    except OSError as error:
        raise _refused(camera, str(error)) from error
    if done.returncode:
        lines = done.stderr.decode(errors="replace").strip().splitlines()
        raise _refused(camera, lines[-1] if lines else f"its process ended with {done.returncode}")
    try:
        before, after = inspect(data), inspect(done.stdout)
    except PictureError as error:
        raise _refused(camera, str(error)) from error
    if before.suffix != after.suffix or _sides(before) != _sides(after):
        raise _refused(camera, "another picture came out")
    return done.stdout


def _sides(facts: PictureFacts) -> list[int]:
    """Both sides, however the picture is turned."""
    return sorted((facts.width, facts.height))


def _refused(camera: str, why: str) -> CameraError:
    return CameraError(
        f'camera "{camera}": its privacy areas could not be blacked out ({why}), so the picture '
        f"was not written; look at cameras.{camera}.privacy in season.toml, or ask the camera for "
        "a smaller picture"
    )
