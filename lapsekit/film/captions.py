"""The caption on a film's picture: date and plant age on a slip of paper. Pillow draws it."""

from datetime import date
from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw

from lapsekit.lettering import FAINT, INK, PAPER, font

_SLIP_SHARE = 0.075  # height of the slip as a share of the picture's


def caption_text(day: date, age: int, clock: str = "") -> tuple[str, str]:
    """The two halves of a caption: ``("3 May 2031", "day 34")``.

    Parameters
    ----------
    day : date
        Local day of the frame.
    age : int
        Plant age in days.
    clock : str
        Local time to show behind the age, if the film has several frames a day.
    """
    when = f"day {age}" if age >= 0 else "before sowing"
    return f"{day.day} {day:%B %Y}", when + (f", {clock}" if clock else "")


def with_caption(picture: np.ndarray, text: tuple[str, str]) -> np.ndarray:
    """A copy of `picture` with a caption in its lower left corner.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB.
    text : (str, str)
        What stands first, in ink, and second, fainter.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
    """
    canvas = Image.fromarray(picture)
    slip = _slip(text, max(18, round(canvas.height * _SLIP_SHARE)))
    margin = slip.height // 3
    canvas.paste(slip, (margin, canvas.height - slip.height - margin))
    return np.asarray(canvas)


@lru_cache(maxsize=8)
def _slip(text: tuple[str, str], height: int) -> Image.Image:
    letters = font(round(height * 0.62))
    pad = round(height * 0.4)
    gap = round(height * 0.35)
    first, second = (round(letters.getlength(part)) for part in text)
    slip = Image.new("RGB", (first + second + gap + 2 * pad, height), PAPER)
    draw = ImageDraw.Draw(slip)
    middle = height / 2
    draw.text((pad, middle), text[0], INK, letters, anchor="lm")
    draw.text((pad + first + gap, middle), text[1], FAINT, letters, anchor="lm")
    return slip
