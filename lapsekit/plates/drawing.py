"""A plate put together: masthead, plant, number, and every frame of the day.

On the left the plant as it stood; on the right the number, its interval and the frames it rests on;
below, the day's frames, those that were left out under a hatching with the reason.
"""

import io

import cv2
from PIL import Image, ImageDraw

from lapsekit.lettering import font
from lapsekit.plates.ink import ACCENT, FAINT, INK, PAPER, RULE, figure, hatch, heading
from lapsekit.plates.model import FrameShown, Plate
from lapsekit.plates.numbers import write_number
from lapsekit.plates.specimen import paste_specimen

WIDTH, MARGIN = 1600, 64
_TOP, _PICTURE_WIDTH, _PICTURE_HEIGHT, _GUTTER = 190, 900, 720, 56
_COLUMN, _RIGHT = MARGIN + _PICTURE_WIDTH + _GUTTER, WIDTH - MARGIN
_ACROSS, _GAP, _CAPTION = 6, 20, 84


def plate_png(plate: Plate) -> bytes:
    """The plate as a PNG; the same plate gives the same bytes."""
    out = io.BytesIO()
    draw_plate(plate).save(out, "PNG")
    return out.getvalue()


def draw_plate(plate: Plate) -> Image.Image:
    """Draw a plate, 1600 px wide and as high as its frames need."""
    rows = -(-len(plate.frames) // _ACROSS)
    size = (_RIGHT - MARGIN - (_ACROSS - 1) * _GAP) // _ACROSS
    bottom = _TOP + _PICTURE_HEIGHT
    strip_top = bottom + 60
    foot = strip_top + 56 + rows * (size * 4 // 5 + _CAPTION)
    sheet = Image.new("RGB", (WIDTH, foot + 44 + 36 * len(plate.notes)), PAPER)
    draw = ImageDraw.Draw(sheet)
    _masthead(draw, plate)
    paste_specimen(sheet, plate, (MARGIN, _TOP, MARGIN + _PICTURE_WIDTH - 1, bottom - 1))
    write_number(draw, plate, (_COLUMN, _TOP, _RIGHT, bottom))
    heading(draw, (MARGIN, strip_top), _frames_heading(plate))
    for number, frame in enumerate(plate.frames):
        row, column = divmod(number, _ACROSS)
        at = (MARGIN + column * (size + _GAP), strip_top + 48 + row * (size * 4 // 5 + _CAPTION))
        _thumbnail(sheet, plate, frame, at, (size, size * 4 // 5))
    draw.line([(MARGIN, foot), (_RIGHT, foot)], RULE, 1)
    for number, note in enumerate(plate.notes):
        draw.text((MARGIN, foot + 20 + 36 * number), note, FAINT, font(26))
    return sheet


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
        smaller = frame.picture.shape[1] > size[0]
        how = cv2.INTER_AREA if smaller else cv2.INTER_CUBIC
        shown = Image.fromarray(cv2.resize(frame.picture, size, interpolation=how))
        if frame.reason:
            shown = Image.blend(shown, Image.new("RGB", size, PAPER), 0.55)
        sheet.paste(shown, at)
    if frame.reason or not frame.picture.size:
        hatch(sheet, box)
    draw = ImageDraw.Draw(sheet)
    below = at[1] + size[1] + 8
    draw.text((at[0], below), frame.clock, INK, font(26))
    if frame.value is not None:
        text = f"{figure(frame.value, plate.unit)} {plate.unit}"
        draw.text((at[0] + size[0], below), text, FAINT, font(26), anchor="ra")
    else:
        draw.text((at[0] + size[0], below), frame.reason, ACCENT, font(26), anchor="ra")
