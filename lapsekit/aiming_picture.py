"""The picture of ``aim``: what the camera sees, with the reference view's edges laid over it."""

import io
import re
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw

from lapsekit.aiming import Aim, Look
from lapsekit.errors import SettingsError
from lapsekit.frames.names import read_name
from lapsekit.lettering import INK, PAPER, font
from lapsekit.safely import require_place, write_safely
from lapsekit.settings import Points
from lapsekit.vision.figures import reduced

EDGE, OUTLINE = (255, 92, 38), (250, 246, 236)
LONG_SIDE_PX = 1600

_EDGE_BLUR_PX = 1.5
_STRONG_SHARE, _WEAK = 0.93, 0.5
"""The steepest 7 % of the pixels start an edge; half as steep, it goes on (Canny 1986, IEEE
Transactions on Pattern Analysis and Machine Intelligence 8, doi:10.1109/TPAMI.1986.4767851)."""


def edges_of(luma: np.ndarray) -> np.ndarray:
    """Edges of a picture, as a boolean mask of its shape."""
    soft = cv2.GaussianBlur(luma, (0, 0), _EDGE_BLUR_PX)
    across, down = (cv2.Sobel(soft, cv2.CV_16S, *way) for way in ((1, 0), (0, 1)))
    slope = np.hypot(across.astype(np.float32), down.astype(np.float32))
    strong = float(max(np.quantile(slope, _STRONG_SHARE), 1.0))
    return cv2.Canny(across, down, strong * _WEAK, strong, L2gradient=True) > 0


def overlay(
    picture: np.ndarray,
    lines: list[str],
    edges: np.ndarray | None = None,
    outlines: dict[str, Points] | None = None,
    cross: bool = True,
) -> bytes:
    """Draw what helps to aim over a picture.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        What the camera sees.
    lines : list of str
        What stands below it.
    edges : ndarray of bool, optional
        Edges of the reference view, of any size: they are laid over the whole picture.
    outlines : dict of str to points, optional
        Outlines by title, in px of `picture`.
    cross : bool
        Whether lines show the picture's middle, and level.

    Returns
    -------
    bytes
        A JPEG of a long side of at most 1600 px, with a strip of text below.
    """
    shown = reduced(picture, LONG_SIDE_PX)
    size = shown.shape[1::-1]
    if edges is not None:
        laid = cv2.resize(edges.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
        shown = np.where(laid[..., None], np.uint8(EDGE), shown)
    lettering = max(14, size[0] // 56)
    folded = [part for line in lines for part in _folded(line, size[0] - lettering, lettering)]
    sheet = Image.new("RGB", (size[0], size[1] + _strip_px(lettering, folded)), PAPER)
    sheet.paste(Image.fromarray(shown))
    draw = ImageDraw.Draw(sheet)
    if cross:
        _cross(draw, size)
    for title, points in (outlines or {}).items():
        _outline(
            draw,
            title,
            [(x * size[0] / picture.shape[1], y * size[1] / picture.shape[0]) for x, y in points],
            lettering,
        )
    for number, line in enumerate(folded):
        at = (lettering // 2, size[1] + lettering // 2 + number * _step(lettering))
        draw.text(at, line, INK, font(lettering))
    out = io.BytesIO()
    sheet.save(out, "JPEG", quality=88)
    return out.getvalue()


def write_overlay(aim: Aim, out: Path) -> Callable[[np.ndarray, Look, list[str]], None]:
    """What writes the overlay of each picture to a file, whole or not at all.

    Raises as `require_overlay_place` does.
    """
    require_overlay_place(out)
    luma = aim.reference_luma
    edges = None if luma is None else edges_of(luma)

    def write(picture: np.ndarray, look: Look, lines: list[str]) -> None:
        fits = aim.size is None or aim.size == (look.width, look.height)
        laid = overlay(picture, lines, edges if fits else None, aim.outlines if fits else None)
        write_safely(out, laid)

    return write


def require_overlay_place(out: Path) -> None:
    """Refuse a place that an overlay cannot go to.

    Raises
    ------
    SettingsError
        If `out` is a frame, no JPEG, or in a folder that does not exist.
    """
    require_place("--out", out, "jpg", "jpeg")
    if read_name(out.name) is not None:
        raise SettingsError(f"--out {out}: that is a frame's name, which is never written over")


def _strip_px(lettering: int, lines: list[str]) -> int:
    """Height of the strip of text."""
    return len(lines) * _step(lettering) + lettering if lines else 0


def _folded(line: str, width: int, lettering: int) -> list[str]:
    """A line of text as lines no wider than `width` px, between words."""
    found = [""]
    for word in line.split():
        longer = f"{found[-1]} {word}".strip()
        if found[-1] and font(lettering).getlength(longer) > width:
            found.append(word)
        else:
            found[-1] = longer
    return found


def _step(lettering: int) -> int:
    return round(lettering * 1.4)


def _cross(draw: ImageDraw.ImageDraw, size: tuple[int, int]) -> None:
    """Middle and level: two hair lines, dark beside light, to be seen on any ground."""
    width, height = size
    for off, ink in ((1, INK), (0, OUTLINE)):
        draw.line([(0, height // 2 + off), (width, height // 2 + off)], ink, 1)
        draw.line([(width // 2 + off, 0), (width // 2 + off, height)], ink, 1)


def _outline(
    draw: ImageDraw.ImageDraw, title: str, points: list[tuple[float, float]], lettering: int
) -> None:
    closed = [*points, points[0]]
    draw.line(closed, INK, 4, joint="curve")
    draw.line(closed, OUTLINE, 2, joint="curve")
    left, top = min(x for x, _ in points) + 6, min(y for _, y in points) + 4
    room = max(x for x, _ in points) - left
    lines, size = _title_within(title, room, lettering)
    for number, line in enumerate(lines):
        at = (left, top + number * _step(size))
        draw.text(at, line, OUTLINE, font(size), stroke_width=2, stroke_fill=INK)


def _title_within(title: str, room: float, lettering: int) -> tuple[list[str], int]:
    """A title in lines and letters that stand in no neighbour; none where it has no room at all.

    Smaller letters come before a second line, which begins after a blank or a hyphen.
    """
    parts = [part for part in re.split(r"(?<=-)|\s+", title) if part]
    for lines in ([title], parts):
        for size in (lettering, round(lettering * 0.8), round(lettering * 0.64)):
            if max(font(size).getlength(line) for line in lines) <= room:
                return lines, size
    return [], lettering
