"""One picture file -> its canopy mask."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from pydantic import ValidationError

from lapsekit.detail import detail_of
from lapsekit.errors import PictureError, SettingsError
from lapsekit.frames.inspection import inspect
from lapsekit.frames.names import read_name
from lapsekit.ruler import load_model
from lapsekit.safely import require_place, write_safely
from lapsekit.settings import CanopyTable
from lapsekit.vision.canopy import METHODS, classify
from lapsekit.vision.colour import is_grey
from lapsekit.vision.pictures import decode, encode_mask, reduced
from lapsekit.vision.reduction import reduction_of


@dataclass(frozen=True)
class Masked:
    """What a picture's mask comes to.

    Attributes
    ----------
    cover : float
        Canopy share of the picture, 0 to 1.
    size : (width, height)
        In px.
    is_grey : bool
        Whether the picture has no colours, so that nothing is told of its plants.
    """

    cover: float
    size: tuple[int, int]
    is_grey: bool


def mask_file(
    frame: Path, out: Path, method: str = "model", model_file: Path | None = None
) -> Masked:
    """Write the canopy mask of a picture file.

    Parameters
    ----------
    frame : pathlib.Path
        Any JPEG, PNG or WebP picture.
    out : pathlib.Path
        PNG to write: 8 bits, 255 = canopy, the size of the upright picture.
    method : str
        What counts as canopy: one of `lapsekit.vision.canopy.METHODS`.
    model_file : pathlib.Path, optional
        A canopy model other than the shipped one.

    Returns
    -------
    Masked

    Raises
    ------
    PictureError
        If `frame` is not a whole picture.
    SettingsError
        If `method` or `model_file` cannot be used, or `out` is a frame.
    """
    if read_name(out.name) is not None or (out.exists() and out.samefile(frame)):
        raise SettingsError(f"--out {out}: that is a frame, which is never written over")
    require_place("--out", out, "png")
    try:
        canopy = CanopyTable(method=method, model_file=model_file and str(model_file))
    except ValidationError as error:
        raise SettingsError(f"--method {method}: allowed are {', '.join(METHODS)}") from error
    try:
        data = frame.read_bytes()
        inspect(data)
        picture = decode(data)
    except OSError as error:
        raise PictureError(f"{frame}: cannot be read ({error.strerror})") from error
    except PictureError as error:
        raise PictureError(f"{frame}: {error}") from error
    mask = _mask(picture, data, canopy)
    write_safely(out, encode_mask(mask))
    height, width = mask.shape
    cover = float(np.count_nonzero(mask) / mask.size)
    return Masked(cover, (width, height), is_grey(picture))


def _mask(picture: np.ndarray, data: bytes, canopy: CanopyTable) -> np.ndarray:
    """The mask of a picture, found in a reduced one where it is large, as seasons are measured."""
    by = reduction_of(picture.shape[:2])
    model, small = load_model(canopy), reduced(picture, by)
    found = classify(small, canopy.method, model, detail=detail_of(data, small, by))
    if by == 1:
        return found
    height, width = picture.shape[:2]
    inside = (width // by * by, height // by * by)
    share = cv2.resize(found.astype(np.float32), inside, interpolation=cv2.INTER_LINEAR)
    rest = (0, height - inside[1], 0, width - inside[0])
    return cv2.copyMakeBorder(share, *rest, cv2.BORDER_REPLICATE) > 0.5
