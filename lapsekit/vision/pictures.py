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


def encode_grey(numbers: np.ndarray) -> bytes:
    """PNG of one number a pixel, written fast rather than small.

    Parameters
    ----------
    numbers : ndarray of uint8, shape (height, width)

    Returns
    -------
    bytes
    """
    return cv2.imencode(".png", numbers, (cv2.IMWRITE_PNG_COMPRESSION, 1))[1].tobytes()


def encode_labels(labels: np.ndarray) -> bytes:
    """PNG of a map of labels: 8 bits if they fit, otherwise 16.

    Parameters
    ----------
    labels : ndarray of int, shape (height, width)
        From 0 to 65535.

    Returns
    -------
    bytes

    Raises
    ------
    ValueError
        If a label does not fit into 16 bits.
    """
    low, high = int(labels.min(initial=0)), int(labels.max(initial=0))
    if low < 0 or high > np.iinfo(np.uint16).max:
        raise ValueError(f"labels run from {low} to {high}; a map holds 0 to 65535")
    depth = np.uint8 if high <= np.iinfo(np.uint8).max else np.uint16
    return cv2.imencode(".png", labels.astype(depth))[1].tobytes()


def decode_grey(data: bytes) -> np.ndarray | None:
    """Numbers of a PNG with one value a pixel, as written; None if it cannot be read whole.

    Parameters
    ----------
    data : bytes
        Content of a file that `encode_grey`, `encode_labels` or `encode_mask` made.

    Returns
    -------
    ndarray of uint8 or uint16, shape (height, width), or None
    """
    # The last chunk of a whole PNG; OpenCV itself would fill the missing rows with black
    if data[-8:-4] != b"IEND":
        return None
    try:
        found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        return None
    return found if found is not None and found.ndim == 2 else None
