"""Decode the bytes of a picture file into pixels."""

import cv2
import numpy as np

from lapsekit.errors import PictureError


def decode(data: bytes) -> np.ndarray:
    """Pixels of a picture, upright.

    Parameters
    ----------
    data : bytes
        Content of a JPEG, PNG or WebP file.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        RGB in the file's own colour space (taken to be sRGB), EXIF orientation applied.

    Raises
    ------
    PictureError
        If OpenCV cannot decode the bytes.
    """
    if not data:
        raise PictureError("the file is empty (0 bytes)")
    try:
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    except cv2.error as error:
        raise PictureError(f"cannot be decoded ({error.err})") from error
    if picture is None:
        raise PictureError("not a picture that can be decoded")
    return picture


def reduced(picture: np.ndarray, by: int) -> np.ndarray:
    """A picture (height, width) `by` times smaller, by averages; what is over at its end is cut."""
    height, width = picture.shape
    size = (width // by, height // by)
    return cv2.resize(picture[: size[1] * by, : size[0] * by], size, interpolation=cv2.INTER_AREA)


def encode_mask(mask: np.ndarray) -> bytes:
    """PNG of a boolean mask: 8 bits, 255 where `mask` is true.

    Parameters
    ----------
    mask : ndarray of bool, shape (height, width)

    Returns
    -------
    bytes
    """
    return cv2.imencode(".png", mask.astype(np.uint8) * 255)[1].tobytes()
