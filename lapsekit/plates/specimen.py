"""The plant on a plate: in its colours on faded ground, with canopy and region outlined."""

from collections.abc import Sequence
from itertools import pairwise

import cv2
import numpy as np
from PIL import Image, ImageDraw

from lapsekit.lettering import font
from lapsekit.plates.ink import INK, PAPER, hatch
from lapsekit.plates.model import Plate, Point

_FADE = 0.55
_ROUND_CM = (0.5, 1, 2, 5, 10, 20, 50, 100)


def paste_specimen(sheet: Image.Image, plate: Plate, box: tuple[int, int, int, int]) -> None:
    """Put the plant into a box of the sheet; a hatching where there is no picture."""
    room = (box[2] - box[0] + 1, box[3] - box[1] + 1)
    if plate.picture is None:
        hatch(sheet, box)
        return
    height, width = plate.picture.shape[:2]
    scale = min(room[0] / width, room[1] / height)
    shown = specimen(plate, scale)
    left = box[0] + (room[0] - shown.width) // 2
    top = box[1] + (room[1] - shown.height) // 2
    sheet.paste(shown, (left, top))
    if plate.px_per_cm:
        _scale_bar(sheet, (left, top + shown.height), plate.px_per_cm * scale, shown.width)


def specimen(plate: Plate, scale: float) -> Image.Image:
    """The plant in its colours on faded ground, with its outlines, `scale` times as large.

    Parameters
    ----------
    plate : Plate
        With a picture.
    scale : float
        Pixels drawn for a pixel of the picture.

    Returns
    -------
    PIL.Image.Image
    """
    height, width = plate.picture.shape[:2]
    size = (round(width * scale), round(height * scale))
    large = cv2.resize(plate.picture, size, interpolation=cv2.INTER_CUBIC)
    if plate.canopy is None:
        return Image.fromarray(large)
    soft = cv2.resize(plate.canopy.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    soft = cv2.GaussianBlur(soft, (0, 0), max(0.5, scale / 2))  # no stairs where pixels are large
    grey = large.astype(np.float32).mean(2, keepdims=True)
    faded = (1 - _FADE) * (0.35 * large + 0.65 * grey) + _FADE * np.array(PAPER, np.float32)
    # The fade begins a little outside the canopy, so that its line can be judged by the leaf's edge
    near = cv2.GaussianBlur(cv2.dilate(soft, np.ones((9, 9), np.uint8)), (0, 0), 3)[..., None]
    large = (near * large + (1 - near) * faded).astype(np.uint8)
    edges, _ = cv2.findContours(
        (soft >= 0.5).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE
    )
    cv2.drawContours(large, edges, -1, INK, 4, cv2.LINE_AA)
    cv2.drawContours(large, edges, -1, PAPER, 2, cv2.LINE_AA)
    shown = Image.fromarray(large)
    if plate.outline is not None:
        corners = [((x + 0.5) * scale, (y + 0.5) * scale) for x, y in plate.outline]
        _dashed(ImageDraw.Draw(shown), [*corners, corners[0]])
    return shown


def _dashed(draw: ImageDraw.ImageDraw, corners: Sequence[Point], dash: float = 14) -> None:
    for start, end in pairwise(corners):
        ends = np.array([start, end])
        steps = max(1, round(float(np.hypot(*(ends[1] - ends[0]))) / dash))
        for step in range(0, steps, 2):
            part = [tuple(ends[0] + (ends[1] - ends[0]) * s / steps) for s in (step, step + 1)]
            draw.line(part, INK, 2)


def _scale_bar(sheet: Image.Image, corner: tuple[int, int], px_per_cm: float, width: int) -> None:
    length_cm = max((c for c in _ROUND_CM if c * px_per_cm <= width / 4), default=_ROUND_CM[0])
    length, text = round(length_cm * px_per_cm), f"{length_cm:g} cm"
    slip = Image.new("RGB", (length + round(font(26).getlength(text)) + 48, 44), PAPER)
    draw = ImageDraw.Draw(slip)
    draw.line([(16, 22), (16 + length, 22)], INK, 3)
    for x in (16, 16 + length):
        draw.line([(x, 14), (x, 30)], INK, 2)
    draw.text((length + 30, 22), text, INK, font(26), anchor="lm")
    sheet.paste(slip, (corner[0] + 16, corner[1] - 60))
