"""A printed plate that shows how one day's number came about. Pillow draws it; pure otherwise.

On the left the plant as it stood, its surroundings faded, with the canopy and the region outlined;
on the right the number, its interval and the frames it rests on; below, every frame of the day,
those that were left out under a hatching with the reason.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from lapsekit.film.captions import FONT_FILE

PAPER, INK, FAINT = (246, 240, 225), (36, 30, 23), (102, 91, 76)
RULE, ACCENT = (205, 193, 168), (154, 47, 28)
WIDTH, MARGIN = 1600, 64
PICTURE_WIDTH, PICTURE_HEIGHT, GUTTER = 900, 720, 56
_COLUMN = MARGIN + PICTURE_WIDTH + GUTTER
_RIGHT = WIDTH - MARGIN
_ACROSS, _GAP = 6, 20
_FADE = 0.55
_ROUND_CM = (0.5, 1, 2, 5, 10, 20, 50, 100)

Point = tuple[float, float]


@dataclass(frozen=True, eq=False)
class FrameShown:
    """One frame of the day: local time of day in hours, its crop, its value or why it has none."""

    hour: float
    picture: np.ndarray
    value: float | None
    reason: str = ""

    @property
    def clock(self) -> str:
        """Local time like ``9:30``."""
        minutes = round(self.hour * 60)
        return f"{minutes // 60}:{minutes % 60:02}"


@dataclass(frozen=True, eq=False)
class Plate:
    """Everything a plate shows.

    Attributes
    ----------
    title, when : str
        The plant, and its day and age.
    unit : {"cm²", "%"}
        Of every value.
    value, low, high : float or None
        The day's value and its interval; None on a day without a usable frame.
    interval : str
        What the interval is, like "95 % interval".
    frames : sequence of FrameShown
        In order of time.
    picture : (H, W, 3) uint8 ndarray or None
        Crop of the daily picture, RGB.
    canopy : (H, W) bool ndarray or None
        What counts as this plant's canopy in it.
    outline : sequence of (x, y) or None
        The region's outline in px of the crop; None for the whole view.
    px_per_cm : float or None
        For the scale bar.
    parts : sequence of (str, float)
        What the interval is made of: names and half-widths.
    notes : sequence of str
        Lines at the foot.
    """

    title: str
    when: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    interval: str
    frames: Sequence[FrameShown]
    picture: np.ndarray | None
    canopy: np.ndarray | None
    outline: Sequence[Point] | None
    px_per_cm: float | None
    parts: Sequence[tuple[str, float]] = ()
    notes: Sequence[str] = ()


def plate_png(plate: Plate) -> bytes:
    """The plate as a PNG; the same plate gives the same bytes."""
    out = io.BytesIO()
    draw_plate(plate).save(out, "PNG", optimize=True)
    return out.getvalue()


def draw_plate(plate: Plate) -> Image.Image:
    """Draw a plate, 1600 px wide and as high as its frames need."""
    rows = -(-len(plate.frames) // _ACROSS)
    size = (_RIGHT - MARGIN - (_ACROSS - 1) * _GAP) // _ACROSS
    strip_top = 190 + PICTURE_HEIGHT + 60
    foot = strip_top + 56 + rows * (size * 4 // 5 + 84)
    sheet = Image.new("RGB", (WIDTH, foot + 44 + 36 * len(plate.notes)), PAPER)
    draw = ImageDraw.Draw(sheet)
    _masthead(draw, plate)
    _specimen(sheet, plate, (MARGIN, 190))
    _number(draw, plate, 190)
    _heading(draw, (MARGIN, strip_top), _frames_heading(plate))
    for number, frame in enumerate(plate.frames):
        row, column = divmod(number, _ACROSS)
        at = (MARGIN + column * (size + _GAP), strip_top + 48 + row * (size * 4 // 5 + 84))
        _thumbnail(sheet, plate, frame, at, (size, size * 4 // 5))
    draw.line([(MARGIN, foot), (_RIGHT, foot)], RULE, 1)
    for number, note in enumerate(plate.notes):
        draw.text((MARGIN, foot + 20 + 36 * number), note, FAINT, font(26))
    return sheet


@lru_cache(maxsize=16)
def font(size: int) -> ImageFont.FreeTypeFont:
    """The almanac's letters."""
    return ImageFont.truetype(FONT_FILE, size)


def figure(value: float, unit: str, spread: float | None = None) -> str:
    """A number with as many digits as its spread (or else its size) deserves.

    Parameters
    ----------
    value, spread : float
        In `unit`; the spread is a half-width, and shows in two digits at most.
    unit : str
        "cm²" or "%".

    Returns
    -------
    str
        Without the unit.
    """
    measure = spread * 10 if spread else value
    digits = 0 if abs(measure) >= 100 else 1 if abs(measure) >= 10 or unit == "%" else 2
    return f"{value:.{digits}f}"


def _masthead(draw: ImageDraw.ImageDraw, plate: Plate) -> None:
    draw.line([(MARGIN, 44), (_RIGHT, 44)], INK, 3)
    draw.line([(MARGIN, 51), (_RIGHT, 51)], INK, 1)
    room = _RIGHT - MARGIN - font(36).getlength(plate.when) - 40
    size = 68
    while size > 34 and font(size).getlength(plate.title) > room:
        size -= 2
    draw.text((MARGIN, 130), plate.title, INK, font(size), anchor="ls")
    draw.text((_RIGHT, 130), plate.when, FAINT, font(36), anchor="rs")
    draw.line([(MARGIN, 156), (_RIGHT, 156)], INK, 1)


def _heading(draw: ImageDraw.ImageDraw, at: tuple[int, int], text: str) -> None:
    """A line of spaced capitals, as the site's labels are."""
    x, y = at
    for letter in text.upper():
        draw.text((x, y), letter, FAINT, font(22))
        x += font(22).getlength(letter) + 2.4


def _specimen(sheet: Image.Image, plate: Plate, at: tuple[int, int]) -> None:
    box = (*at, at[0] + PICTURE_WIDTH - 1, at[1] + PICTURE_HEIGHT - 1)
    if plate.picture is None:
        _hatch(sheet, box)
        return
    height, width = plate.picture.shape[:2]
    scale = min(PICTURE_WIDTH / width, PICTURE_HEIGHT / height)
    shown = specimen(plate, scale)
    left = at[0] + (PICTURE_WIDTH - shown.width) // 2
    top = at[1] + (PICTURE_HEIGHT - shown.height) // 2
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


def _number(draw: ImageDraw.ImageDraw, plate: Plate, top: int) -> None:
    what = "Canopy area on the bench" if plate.unit == "cm²" else "Cover of the region"
    _heading(draw, (_COLUMN, top), what)
    if plate.value is None:
        draw.text((_COLUMN, top + 130), "no value", INK, font(96), anchor="ls")
        draw.text((_COLUMN, top + 176), "no usable frame on this day", FAINT, font(30), anchor="ls")
        return
    half = (plate.high - plate.low) / 2
    value, low, high = (figure(v, plate.unit, half) for v in (plate.value, plate.low, plate.high))
    draw.text((_COLUMN - 4, top + 150), value, INK, font(150), anchor="ls")
    after = _COLUMN + font(150).getlength(value) + 14
    draw.text((after, top + 150), plate.unit, INK, font(60), anchor="ls")
    draw.text((_COLUMN, top + 228), f"{low} to {high}", ACCENT, font(36), anchor="ls")
    after = _COLUMN + font(36).getlength(f"{low} to {high}") + 16
    draw.text((after, top + 228), plate.interval, FAINT, font(28), anchor="ls")
    bottom = top + PICTURE_HEIGHT - (0 if not plate.parts else 50 + 34 * len(plate.parts))
    _dots(draw, plate, (_COLUMN, top + 272, _RIGHT, bottom - 34))
    if plate.parts:
        _parts(draw, plate, bottom + 18)


def _dots(draw: ImageDraw.ImageDraw, plate: Plate, box: tuple[int, int, int, int]) -> None:
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


def _parts(draw: ImageDraw.ImageDraw, plate: Plate, top: int) -> None:
    """What the interval is made of, as bars of their half-widths."""
    _heading(draw, (_COLUMN, top), "What may be wrong, either way")
    largest = max((half for _, half in plate.parts), default=0) or 1.0
    start, room = _COLUMN + 250, _RIGHT - _COLUMN - 250 - 92
    for number, (name, half) in enumerate(plate.parts):
        y = top + 48 + 34 * number
        draw.text((_COLUMN, y), name, INK, font(26), anchor="lm")
        draw.rectangle((start, y - 4, start + max(1, half / largest * room), y + 4), INK)
        draw.text((_RIGHT, y), f"± {figure(half, plate.unit)}", FAINT, font(26), anchor="rm")


def _frames_heading(plate: Plate) -> str:
    used = sum(f.value is not None for f in plate.frames)
    left_out = len(plate.frames) - used
    text = f"{used} frame{'s' if used != 1 else ''} used"
    return text + (f", {left_out} left out" if left_out else "")


def _thumbnail(
    sheet: Image.Image,
    plate: Plate,
    frame: FrameShown,
    at: tuple[int, int],
    size: tuple[int, int],
) -> None:
    box = (*at, at[0] + size[0] - 1, at[1] + size[1] - 1)
    if frame.picture.size:
        shown = Image.fromarray(cv2.resize(frame.picture, size, interpolation=cv2.INTER_AREA))
        if frame.reason:
            shown = Image.blend(shown, Image.new("RGB", size, PAPER), 0.55)
        sheet.paste(shown, at)
    if frame.reason or not frame.picture.size:
        _hatch(sheet, box)
    draw = ImageDraw.Draw(sheet)
    below = at[1] + size[1] + 8
    draw.text((at[0], below), frame.clock, INK, font(26))
    if frame.value is not None:
        text = f"{figure(frame.value, plate.unit)} {plate.unit}"
        draw.text((at[0] + size[0], below), text, FAINT, font(26), anchor="ra")
    else:
        draw.text((at[0] + size[0], below), frame.reason, ACCENT, font(26), anchor="ra")


def _hatch(sheet: Image.Image, box: tuple[int, int, int, int]) -> None:
    """Thin slanting lines, the site's sign for what is missing."""
    x0, y0, x1, y1 = box
    tile = sheet.crop((x0, y0, x1 + 1, y1 + 1))
    draw = ImageDraw.Draw(tile)
    for start in range(-tile.height, tile.width, 12):
        draw.line([(start, tile.height), (start + tile.height, 0)], (151, 136, 102), 1)
    sheet.paste(tile, (x0, y0))
