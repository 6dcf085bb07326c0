"""Paper, inks and marks of a plate, in the almanac's look."""

from PIL import Image, ImageDraw

from lapsekit.lettering import font

PAPER, INK, FAINT = (246, 240, 225), (36, 30, 23), (102, 91, 76)
RULE, ACCENT, HATCH = (205, 193, 168), (154, 47, 28), (151, 136, 102)


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


def heading(draw: ImageDraw.ImageDraw, at: tuple[int, int], text: str) -> None:
    """A line of spaced capitals, as the site's labels are."""
    x, y = at
    for letter in text.upper():
        draw.text((x, y), letter, FAINT, font(22))
        x += font(22).getlength(letter) + 2.4


def hatch(sheet: Image.Image, box: tuple[int, int, int, int]) -> None:
    """Thin slanting lines, the site's sign for what is missing."""
    x0, y0, x1, y1 = box
    tile = sheet.crop((x0, y0, x1 + 1, y1 + 1))
    draw = ImageDraw.Draw(tile)
    for start in range(-tile.height, tile.width, 12):
        draw.line([(start, tile.height), (start + tile.height, 0)], HATCH, 1)
    sheet.paste(tile, (x0, y0))
