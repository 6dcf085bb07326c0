"""Decode the bytes of a picture file into pixels."""

import struct
import zlib

import cv2
import numpy as np

from lapsekit.errors import PictureError

_REDUCED = {
    2: cv2.IMREAD_REDUCED_COLOR_2,
    4: cv2.IMREAD_REDUCED_COLOR_4,
    8: cv2.IMREAD_REDUCED_COLOR_8,
}


def decode(data: bytes, by: int = 1) -> np.ndarray:
    """Pixels of a picture, upright.

    Parameters
    ----------
    data : bytes
        Content of a JPEG, PNG or WebP file.
    by : {1, 2, 4, 8}
        Decode it so many times smaller; a JPEG takes half the time then, or less.

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
        if by == 1:
            picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
        else:
            picture = cv2.imdecode(np.frombuffer(data, np.uint8), _REDUCED[by])
            picture = picture if picture is None else cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)
    except cv2.error as error:
        raise PictureError(f"cannot be decoded ({error.err})") from error
    if picture is None:
        raise PictureError("not a picture that can be decoded")
    return picture


def decode_reduced(data: bytes, by: int, shape: tuple[int, int]) -> np.ndarray:
    """Pixels of a picture of known (height, width), `by` times smaller, each the mean of a block.

    What is over at its end is cut. Errors as for `decode`.
    """
    if shape[0] % by or shape[1] % by:  # reduced while decoding, it would be stretched
        return reduced(decode(data), by)
    return decode(data, by)


def reduced(picture: np.ndarray, by: int) -> np.ndarray:
    """A picture `by` times smaller, by averages; what is over at its end is cut."""
    height, width = picture.shape[:2]
    size = (width // by, height // by)
    return cv2.resize(picture[: size[1] * by, : size[0] * by], size, interpolation=cv2.INTER_AREA)


#: Long runs of one number pack as small by their lengths alone, in a quarter of the time.
_RUNS = (
    *(cv2.IMWRITE_PNG_COMPRESSION, 1),
    *(cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE),
    *(cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_NONE),
)


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
    return cv2.imencode(".png", numbers, _RUNS)[1].tobytes()


def encode_veil(shares: np.ndarray, colour: tuple[int, int, int], most: float = 1.0) -> bytes:
    """PNG of one colour, as dense as shares say: to be laid over the picture they are shares of.

    Parameters
    ----------
    shares : ndarray of uint8, shape (height, width)
        0 where the veil is clear, 255 where it is densest. They are the picture's indices, and can
        be read back exactly.
    colour : (red, green, blue)
        0 to 255.
    most : float
        Opacity of 255, 0 to 1.

    Returns
    -------
    bytes
        A PNG with a palette (PNG, third edition, W3C 2025), written fast rather than small.
    """
    height, width = shares.shape
    rows = np.zeros((height, width + 1), np.uint8)  # each row begins with its filter: 0, none
    rows[:, 1:] = shares
    opacity = np.round(np.arange(256) * most).astype(np.uint8)
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
        (b"PLTE", bytes(colour) * 256),
        (b"tRNS", opacity.tobytes()),
        (b"IDAT", zlib.compress(rows, 1)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(*chunk) for chunk in chunks)


def _chunk(name: bytes, content: bytes) -> bytes:
    """A chunk of a PNG: its length, its name, what it holds, its checksum."""
    whole = name + content
    return struct.pack(">I", len(content)) + whole + struct.pack(">I", zlib.crc32(whole))


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
