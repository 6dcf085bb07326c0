"""How finely a picture file keeps colours, by its own head."""

import io

import numpy as np
from PIL import Image, JpegImagePlugin

from lapsekit.vision.detail import MOST_COARSE, WHOLE, Detail

_HALVED = {0: 0.0, 1: 0.5, 2: 1.0}
"""By Pillow's number for 4:4:4, 4:2:2 and 4:2:0; rarer ways have a quarter of the colours too."""

_STANDARD_STEP = 86.0
"""Mean step of the standard's example table for colours (ITU-T T.81, table K.2)."""


def detail_of(data: bytes, by: int = 1) -> Detail:
    """How finely a picture has its colours.

    Parameters
    ----------
    data : bytes
        Content of its file.
    by : int
        How many times smaller it was made when it was decoded.

    Returns
    -------
    Detail
        `WHOLE` for a picture that was made smaller, and for any file but a JPEG in colour: the
        others keep all, or do not tell.
    """
    if by > 1:
        return WHOLE
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as picture:
            if picture.mode != "RGB":
                return WHOLE
            halved = _HALVED.get(JpegImagePlugin.get_sampling(picture), 1.0)
            tables = picture.quantization
    except (OSError, ValueError, SyntaxError, AttributeError):
        return WHOLE
    steps = tables[max(tables)] if tables else (0,)  # the last table is that of colours
    return Detail(halved, min(float(np.mean(steps)) / _STANDARD_STEP, MOST_COARSE))
