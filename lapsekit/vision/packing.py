"""Arrays as text and back, to the bit, for what is kept as JSON."""

import base64
import zlib

import numpy as np


def packed(array: np.ndarray) -> dict[str, object]:
    """An array as numbers, lists and text only; `unpacked` takes it back."""
    data = base64.b64encode(zlib.compress(np.ascontiguousarray(array).tobytes(), 1)).decode()
    return {"dtype": array.dtype.str, "shape": list(array.shape), "data": data}


def unpacked(plain: dict) -> np.ndarray:
    """The array that `packed` was given, a copy that can be written to."""
    data = zlib.decompress(base64.b64decode(plain["data"]))
    return np.frombuffer(data, np.dtype(plain["dtype"])).reshape(plain["shape"]).copy()
