"""How finely a picture file keeps colours, by its own head and by what it shows."""

import io

import numpy as np
from PIL import Image

from lapsekit.vision.detail import MOST_COARSE, WHOLE, Detail

_STANDARD_STEP = 86.0
"""Mean step of the standard's example table for colours (ITU-T T.81, table K.2) at quality 50."""

_WEBP = Detail(1.0, 0.3)
"""Lossy WebP always keeps colours at half resolution (RFC 9649); in which steps, its head does not
tell in those of JPEG: taken as a JPEG's of quality 85."""


def detail_of(data: bytes, picture: np.ndarray, by: int = 1) -> Detail:
    """How finely a picture has its colours.

    Parameters
    ----------
    data : bytes
        Content of its file.
    picture : (H, W, 3) uint8 ndarray
        What was decoded.
    by : int
        How many times smaller it was made when it was decoded.

    Returns
    -------
    Detail
        `WHOLE` for a picture that was made smaller, and for files in grey or damaged. A file that
        says it keeps colours whole is not believed where the picture shows otherwise: it may have
        been saved before in another way.
    """
    return WHOLE if by > 1 else told_by(data).as_seen_in(picture)


def told_by(data: bytes) -> Detail:
    """What the head of a picture's file tells; `WHOLE` for files in grey, without loss or damaged.

    Parameters
    ----------
    data : bytes
        Content of the file.
    """
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return _WEBP if b"VP8 " in data[12:64] else WHOLE
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as picture:
            if picture.mode != "RGB":
                return WHOLE
            return _of_jpeg(picture.layer, picture.quantization)
    except (OSError, ValueError, SyntaxError, KeyError, Image.DecompressionBombError):
        return WHOLE


def _of_jpeg(parts: list[tuple[int, int, int, int]], tables: dict[int, list[int]]) -> Detail:
    """By lightness and both colours: identity, samples across and down, number of their table."""
    _, across, down, table = parts[1]
    fewer = [across < max(part[1] for part in parts), down < max(part[2] for part in parts)]
    return Detail(sum(fewer) / 2, min(float(np.mean(tables[table])) / _STANDARD_STEP, MOST_COARSE))
