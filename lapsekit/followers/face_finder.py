"""The process that proposes faces: a detector's model and pixels by stdin, boxes by stdout.

Confined like the one that opens pictures: the model is somebody else's file too. It is told
`ASKED`, then the model's bytes, then the pixels (sRGB, three bytes each), and answers `HEAD` and a
`BOX` for each face.
"""

import os
import struct
import sys

import cv2
import numpy as np

from lapsekit.followers import confining

MAGIC = b"lkface"
ASKED = struct.Struct(">6sIHH")
HEAD = struct.Struct(">6s?H")
BOX = struct.Struct(">HHHH")

MOST_FACES = 40
MOST_MODEL_BYTES = 50 << 20

_SIDE_PX = 960
_SCORE, _OVERLAP = 0.6, 0.3
_MARGIN = 0.2
"""A box is made larger by this share of itself each way: hair and ears tell who it is, too."""


def main() -> None:
    """Be confined, read, look, answer."""
    confining.bound()
    cv2.setNumThreads(1)
    answer = HEAD.pack(MAGIC, False, 0)
    if confining.confine(sys.argv[1]):
        try:
            boxes = asked_boxes()
            answer = HEAD.pack(MAGIC, True, len(boxes)) + b"".join(BOX.pack(*b) for b in boxes)
        except (cv2.error, ValueError, MemoryError, struct.error):
            pass  # a model that is none
    os.write(1, answer)
    os._exit(0)


def asked_boxes() -> list[tuple[int, int, int, int]]:
    """Faces of the picture that standard input holds, the surest first."""
    given = bytearray()
    while part := os.read(0, 1 << 20):
        given += part
    magic, size, width, height = ASKED.unpack(given[: ASKED.size])
    model = np.frombuffer(given, np.uint8, size, ASKED.size)
    flat = np.frombuffer(given, np.uint8, 3 * width * height, ASKED.size + size)
    if magic != MAGIC:
        raise ValueError("another frame")
    return faces(model, flat.reshape(height, width, 3))


def faces(model: np.ndarray, picture: np.ndarray) -> list[tuple[int, int, int, int]]:
    """Where a detector sees faces.

    Parameters
    ----------
    model : ndarray of uint8
        An ONNX file for OpenCV's FaceDetectorYN.
    picture : ndarray of uint8, shape (height, width, 3)
        RGB.

    Returns
    -------
    list of (left, top, right, bottom)
        In px of the picture, with a margin, the surest first.
    """
    height, width = picture.shape[:2]
    scale = min(1.0, _SIDE_PX / max(width, height))
    size = max(1, round(width * scale)), max(1, round(height * scale))
    small = cv2.resize(cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), size, interpolation=cv2.INTER_AREA)
    detector = cv2.FaceDetectorYN.create(
        "onnx", model, np.empty(0, np.uint8), size, _SCORE, _OVERLAP, MOST_FACES
    )
    found = detector.detect(small)[1]
    rows = [] if found is None else sorted(found, key=lambda row: -row[-1])
    return [box for row in rows if (box := _box(row, scale, width, height)) is not None]


def _box(
    row: np.ndarray, scale: float, width: int, height: int
) -> tuple[int, int, int, int] | None:
    left, top, wide, high = (float(value) / scale for value in row[:4])
    x, y = _MARGIN * wide, _MARGIN * high
    edges = left - x, top - y, left + wide + x, top + high + y
    if not np.isfinite(edges).all():
        return None
    clipped = np.clip(np.round(edges), 0, [width, height, width, height]).astype(int)
    box = tuple(int(value) for value in clipped)
    return box if box[2] > box[0] and box[3] > box[1] else None


if __name__ == "__main__":
    main()
