"""Photographs that the grower takes for the diary: filed without what they say of themselves."""

import io
import re
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import date
from itertools import count
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from lapsekit.desk.pictures import as_jpeg
from lapsekit.diary import PICTURES_FOLDER
from lapsekit.errors import PictureError
from lapsekit.safely import write_safely

LONGEST_SIDE_PX = 2000
_MOST_PX = 120_000_000
_KINDS = ("JPEG", "PNG", "WEBP")
_PHOTOGRAPH = re.compile(r"[0-9A-Za-z][\w-]{0,60}\.jpe?g", re.ASCII)


def cleaned(data: bytes) -> bytes:
    """A photograph drawn anew from its pixels: upright, of 2000 px at most, without metadata.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG or WebP file.

    Returns
    -------
    bytes
        A JPEG that holds neither place nor time nor camera.

    Raises
    ------
    PictureError
        If it is no such picture, or a very large one.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=_KINDS) as picture:
                if picture.width * picture.height > _MOST_PX:
                    raise PictureError("A photograph has more than 120 megapixels; send a smaller.")
                picture.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))
                upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise PictureError(
            "One of the files is no photograph that can be read; send JPEG, PNG or WebP."
        ) from error
    return as_jpeg(np.asarray(upright), LONGEST_SIDE_PX)


@contextmanager
def filed(folder: Path, day: date, sent: Iterable[bytes]) -> Iterator[tuple[str, ...]]:
    """Photographs of a day, cleaned and filed while what belongs to them is written.

    Their paths in the season folder. Where that fails, none of them stays. None is ever written
    over another: the next free number is taken.
    """
    pictures, names = [cleaned(data) for data in sent], []
    try:
        for data in pictures:
            names.append(_claimed(folder, day))
            write_safely(folder / names[-1], data)
        yield tuple(names)
    except BaseException:
        for name in names:
            (folder / name).unlink(missing_ok=True)
        raise


def _claimed(folder: Path, day: date) -> str:
    """The next free name of a day, taken by an empty file: two forms may come at once."""
    (folder / PICTURES_FOLDER).mkdir(exist_ok=True)
    for number in count(1):
        name = f"{PICTURES_FOLDER}/{day.isoformat()}-{number}.jpg"
        with suppress(FileExistsError):
            (folder / name).touch(exist_ok=False)
            return name


def find(folder: Path, name: str) -> Path | None:
    """The file of a photograph by its name; None where the diary's folder has none of that name."""
    if not _PHOTOGRAPH.fullmatch(name) or (folder / PICTURES_FOLDER).is_symlink():
        return None
    file = folder / PICTURES_FOLDER / name
    return file if file.is_file() and not file.is_symlink() else None


def address(path: str, side_px: int = 480) -> str:
    """Where the desk shows a photograph of the diary."""
    return f"/diary/photograph/{path.rpartition('/')[2]}?side={side_px}"
