"""The number on a plate: large, with its interval, its frames and what may be wrong with it."""

from collections.abc import Sequence

import numpy as np
from PIL import ImageDraw

from lapsekit.lettering import font
from lapsekit.plates.ink import ACCENT, FAINT, INK, PAPER, figure, heading
from lapsekit.plates.model import Plate

Box = tuple[int, int, int, int]


def write_number(draw: ImageDraw.ImageDraw, plate: Plate, box: Box) -> None:
    """Write the value, draw its frames and list the parts of its interval, in a box."""
    left, top, right, bottom = box
    what = "Canopy area on the bench" if plate.unit == "cm²" else "Cover of the region"
    heading(draw, (left, top), what)
    if plate.value is None:
        draw.text((left, top + 130), "no value", INK, font(96), anchor="ls")
        draw.text((left, top + 176), "no usable frame on this day", FAINT, font(30), anchor="ls")
        return
    half = (plate.high - plate.low) / 2
    value, low, high = (figure(v, plate.unit, half) for v in (plate.value, plate.low, plate.high))
    draw.text((left - 4, top + 150), value, INK, font(150), anchor="ls")
    after = left + font(150).getlength(value) + 14
    draw.text((after, top + 150), plate.unit, INK, font(60), anchor="ls")
    draw.text((left, top + 228), f"{low} to {high}", ACCENT, font(36), anchor="ls")
    after = left + font(36).getlength(f"{low} to {high}") + 16
    draw.text((after, top + 228), plate.interval, FAINT, font(28), anchor="ls")
    bottom -= 50 + 34 * len(plate.parts) if plate.parts else 0
    _dots(draw, plate, (left, top + 272, right, bottom - 34))
    if plate.parts:
        _parts(draw, plate, (left, bottom + 18, right))


def _dots(draw: ImageDraw.ImageDraw, plate: Plate, box: Box) -> None:
    """Each frame's value at its hour, over the day's value and interval."""
    left, top, right, bottom = box
    used = [f for f in plate.frames if f.value is not None]
    values = [plate.low, plate.high, *(f.value for f in used)]
    reach = max(max(values) - plate.value, plate.value - min(values), 0.005 * plate.value, 1e-6)
    first = min(f.hour for f in plate.frames) - 0.5
    last = max(f.hour for f in plate.frames) + 0.5
    axis = right - 92

    def place(hour: float, value: float) -> tuple[float, float]:
        x = left + 14 + (hour - first) / (last - first) * (axis - left - 28)
        return x, (top + bottom) / 2 - (value - plate.value) / (1.12 * reach) * (bottom - top) / 2

    _, low = place(first, plate.low)
    _, high = place(first, plate.high)
    band = tuple(round(0.84 * p + 0.16 * a) for p, a in zip(PAPER, ACCENT, strict=True))
    draw.rectangle((left, high, axis, low), band)
    middle = place(first, plate.value)[1]
    draw.line([(left, middle), (axis, middle)], ACCENT, 2)
    half = (plate.high - plate.low) / 2
    shown: list[float] = []
    for value, colour in ((plate.value, ACCENT), (plate.high, FAINT), (plate.low, FAINT)):
        y = place(first, value)[1]
        if all(abs(y - other) >= 24 for other in shown):
            text = figure(value, plate.unit, half)
            draw.text((axis + 14, y), text, colour, font(26), anchor="lm")
            shown.append(y)
    for frame in used:
        x, y = place(frame.hour, frame.value)
        draw.ellipse((x - 7, y - 7, x + 7, y + 7), INK, PAPER, 2)
    draw.line([(left, bottom), (axis, bottom)], INK, 1)
    _hours(
        draw, [place(h, plate.value)[0] for h in _whole(first, last)], _whole(first, last), bottom
    )


def _whole(first: float, last: float) -> list[int]:
    """Hours to write under an axis: every one, two or three, so that at most seven stand."""
    step = next(s for s in (1, 2, 3, 4) if (last - first) / s <= 7)
    return [h for h in range(int(np.ceil(first)), int(last) + 1) if h % step == 0]


def _hours(
    draw: ImageDraw.ImageDraw, places: Sequence[float], hours: Sequence[int], y: int
) -> None:
    for x, hour in zip(places, hours, strict=True):
        draw.line([(x, y), (x, y + 6)], INK, 1)
        draw.text((x, y + 10), f"{hour}:00", FAINT, font(22), anchor="ma")


def _parts(draw: ImageDraw.ImageDraw, plate: Plate, at: tuple[int, int, int]) -> None:
    """What the interval is made of, as bars of their half-widths."""
    left, top, right = at
    heading(draw, (left, top), "What may be wrong, either way")
    largest = max((half for _, half in plate.parts), default=0) or 1.0
    start, room = left + 250, right - left - 250 - 92
    for number, (name, half) in enumerate(plate.parts):
        y = top + 48 + 34 * number
        draw.text((left, y), name, INK, font(26), anchor="lm")
        draw.rectangle((start, y - 4, start + max(1, half / largest * room), y + 4), INK)
        draw.text((right, y), f"± {figure(half, plate.unit, half)}", FAINT, font(26), anchor="rm")
