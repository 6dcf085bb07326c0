"""A contact sheet of the frames that were left out: one picture, each with date and reason.

Whoever may stand in a frame must not be recognisable: such frames are shown as 24 coarse, blurred
squares across, at which a face above a bench is one or two of them.
"""

import io
import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from lapsekit.errors import ArchiveError, PictureError, SettingsError
from lapsekit.frames.names import read_name
from lapsekit.lettering import FAINT, INK, PAPER, font
from lapsekit.listing import FrameRow, FramesReport
from lapsekit.safely import require_place, write_safely
from lapsekit.vision.pictures import decode

_LINE = (216, 207, 188)
_COLUMNS, _WIDTH, _GAP, _MARGIN = 4, 300, 28, 44
_HEIGHT = _WIDTH * 3 // 4
_TEXT_LINES, _LINE_PX = 4, 17
_MOST = 200
_SQUARES = 24

Read = Callable[[str], bytes]


def write_sheet(path: Path, report: FramesReport, read: Read) -> Path:
    """Write the sheet to `path`; parameters as `draw_sheet`.

    Raises
    ------
    SettingsError
        If `path` is a frame, or is no PNG in a folder that exists.
    """
    if read_name(path.name) is not None:
        raise SettingsError(f"--sheet {path}: that is a frame, which is never written over")
    require_place("--sheet", path, "png")
    write_safely(path, draw_sheet(report, read))
    return path


def draw_sheet(report: FramesReport, read: Read) -> bytes:
    """Draw the sheet.

    Parameters
    ----------
    report : FramesReport
        With the frames that were left out; the latest 200 are drawn.
    read : callable
        Gives the bytes of a frame by its path.

    Returns
    -------
    bytes
        A PNG.
    """
    shown = [row for row in report.rows if not row.usable][-_MOST:]
    left_out = report.left_out
    rows = max(1, -(-len(shown) // _COLUMNS))
    tile_height = _HEIGHT + 34 + _TEXT_LINES * _LINE_PX
    head = _MARGIN + 96
    size = (
        2 * _MARGIN + _COLUMNS * _WIDTH + (_COLUMNS - 1) * _GAP,
        head + rows * (tile_height + _GAP) + _MARGIN,
    )
    sheet = Image.new("RGB", size, PAPER)
    draw = ImageDraw.Draw(sheet)
    _heading(draw, size[0], report, left_out, len(shown))
    for number, row in enumerate(shown):
        x = _MARGIN + number % _COLUMNS * (_WIDTH + _GAP)
        y = head + number // _COLUMNS * (tile_height + _GAP)
        _tile(sheet, draw, (x, y), row, read)
    out = io.BytesIO()
    sheet.save(out, "PNG", optimize=True)
    return out.getvalue()


def unrecognisable(picture: Image.Image) -> Image.Image:
    """The picture as 24 squares across, blurred over their edges.

    Parameters
    ----------
    picture : PIL.Image.Image

    Returns
    -------
    PIL.Image.Image
        Of the same size.
    """
    coarse = (_SQUARES, max(1, round(_SQUARES * picture.height / picture.width)))
    squares = picture.resize(coarse, Image.Resampling.BOX)
    again = squares.resize(picture.size, Image.Resampling.NEAREST)
    return again.filter(ImageFilter.GaussianBlur(picture.width / _SQUARES / 3))


def _heading(
    draw: ImageDraw.ImageDraw, width: int, report: FramesReport, left_out: int, shown: int
) -> None:
    draw.text((_MARGIN, _MARGIN), report.title, INK, font(34))
    counted = f"{left_out} of {report.looked_at} frames left out"
    if shown < left_out:
        counted += f", the latest {shown} shown"
    draw.text((_MARGIN, _MARGIN + 46), counted, FAINT, font(18))
    y = _MARGIN + 80
    draw.line((_MARGIN, y, width - _MARGIN, y), _LINE)


def _tile(
    sheet: Image.Image, draw: ImageDraw.ImageDraw, at: tuple[int, int], row: FrameRow, read: Read
) -> None:
    x, y = at
    thumbnail = _thumbnail(row, read)
    if thumbnail is None:
        draw.rectangle((x, y, x + _WIDTH - 1, y + _HEIGHT - 1), outline=_LINE)
    else:
        left, top = (_WIDTH - thumbnail.width) // 2, (_HEIGHT - thumbnail.height) // 2
        sheet.paste(thumbnail, (x + left, y + top))
    when = f"{row.taken_at.day} {row.taken_at:%B %Y, %H:%M}"
    draw.text((x, y + _HEIGHT + 8), when, INK, font(17))
    for line, text in enumerate(_wrapped(row.told)):
        draw.text((x, y + _HEIGHT + 32 + line * _LINE_PX), text, FAINT, font(14))


def _wrapped(told: str) -> Sequence[str]:
    return textwrap.wrap(told, 44, max_lines=_TEXT_LINES, placeholder=" …")


def _thumbnail(row: FrameRow, read: Read) -> Image.Image | None:
    try:
        pixels: np.ndarray = decode(read(row.path))
    except (ArchiveError, PictureError):
        return None
    picture = Image.fromarray(pixels)
    picture.thumbnail((_WIDTH, _HEIGHT), Image.Resampling.BOX, reducing_gap=None)
    return unrecognisable(picture) if row.may_show_somebody else picture
