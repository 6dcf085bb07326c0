"""The cards: the picture of the day with its number and the week's growth, in the almanac's look.

A link preview (1200 × 630 px), a square (1080 × 1080) and an upright one (1080 × 1920).
"""

import hashlib
import io
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from PIL import Image, ImageDraw

from lapsekit.lettering import Ink, drawable, fitted, letters, small_capitals
from lapsekit.site.elsewhere.card_shapes import SHAPES, Box, Shape
from lapsekit.site.elsewhere.saying import signed
from lapsekit.site.elsewhere.together import together, who_text
from lapsekit.site.elsewhere.told import SeasonTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words

PAPER, INK, FAINT = (246, 240, 225), (36, 30, 23), (102, 91, 76)
RULE, ACCENT = (205, 193, 168), (154, 47, 28)
#: Raised when the same words and picture are drawn otherwise, so that kept cards are not used.
DRAWING = 1
_QUALITY = 86
#: More of a picture than this share is not cut off; it then stands on paper, whole.
_MOST_CUT = 0.22
#: How far old-style numerals reach above and below the line, as shares of their size.
_RISE, _FALL = 0.70, 0.27


@dataclass(frozen=True)
class CardTold:
    """What a card says; `growth` is empty where no week's growth can be stated.

    `label` and `numeral` are the plant age, `who` the plants that `growth` is of, `between` its
    95 % interval, `place` the address to be seen.
    """

    title: str
    label: str
    numeral: str
    day: str
    growth: str
    week: str
    who: str
    between: str
    place: str


def card_told(season: SeasonTold, words: "Words") -> CardTold | None:
    """What the cards of the latest day say; None while there is no picture."""
    told = season.latest
    if told is None:
        return None
    found = together(told.plants)
    growth = week = who = between = ""
    if found is not None:
        growth = words.text("{percent} %", percent=signed(100 * found.share, words))
        week, who = words.text("canopy in a week"), who_text(found, words)
    if found is not None and found.share_low is not None:
        low, high = (signed(100 * end, words) for end in (found.share_low, found.share_high))
        between = words.text("between {low} and {high} %", low=low, high=high)
    early = told.age_days < 0
    label = words.text("Days before sowing") if early else words.text("Plant age in days")
    return CardTold(
        title=drawable(season.title),
        label=drawable(label),
        numeral=str(abs(told.age_days)),
        day=drawable(words.long_day(told.day)),
        growth=growth,
        week=drawable(week),
        who=drawable(who),
        between=between,
        place=drawable(_place(season.address)),
    )


def _place(address: str | None) -> str:
    """``bench.example/2031``: an address as people write it."""
    if address is None:
        return ""
    parts = urlsplit(address)
    return (parts.netloc + parts.path).rstrip("/")


def card_mark(name: str, told: CardTold, picture: str) -> str:
    """Twelve hexadecimal digits that change when the card `name` would look otherwise.

    Parameters
    ----------
    name : str
        ``link``, ``square`` or ``upright``.
    told : CardTold
    picture : str
        What names the picture's content, like a path with a hash in it.
    """
    parts = (DRAWING, astuple(SHAPES[name]), astuple(told), picture)
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:12]


def card_jpg(name: str, told: CardTold, picture: Image.Image) -> bytes:
    """The card as a JPEG without metadata; the same card gives the same bytes."""
    out = io.BytesIO()
    card = draw_card(name, told, picture)
    card.save(out, "JPEG", quality=_QUALITY, subsampling=0, optimize=True, progressive=True)
    return out.getvalue()


def draw_card(name: str, told: CardTold, picture: Image.Image) -> Image.Image:
    """Draw the card `name` with an upright RGB `picture`."""
    shape = SHAPES[name]
    card = Image.new("RGB", shape.size, PAPER)
    _paste(card, picture, shape.picture)
    draw = ImageDraw.Draw(card)
    {"link": _link, "square": _square, "upright": _upright}[name](draw, shape, told)
    return card


def _paste(card: Image.Image, picture: Image.Image, box: Box) -> None:
    """Fill `box` with the picture's middle, or put it there whole where much would be lost."""
    width, height = box[2] - box[0], box[3] - box[1]
    across, down = width / picture.width, height / picture.height
    fills = min(across, down) / max(across, down) >= 1 - _MOST_CUT
    scale = max(across, down) if fills else min(across, down)
    cut = min(picture.width, width / scale), min(picture.height, height / scale)
    left, top = (picture.width - cut[0]) / 2, (picture.height - cut[1]) / 2
    size = max(1, round(cut[0] * scale)), max(1, round(cut[1] * scale))
    part = (left, top, left + cut[0], top + cut[1])
    shown = picture.resize(size, Image.Resampling.LANCZOS, box=part, reducing_gap=3.0)
    card.paste(shown, (box[0] + (width - size[0]) // 2, box[1] + (height - size[1]) // 2))


def _double_rule(draw: ImageDraw.ImageDraw, left: int, right: int, y: int) -> None:
    draw.line([(left, y), (right, y)], INK, 3)
    draw.line([(left, y + 6), (right, y + 6)], INK, 1)


def _title(
    draw: ImageDraw.ImageDraw, text: str, at: tuple[int, int], width: int, size: int, most: int
) -> int:
    """The title, slanted, from the top `at` down; where its last line ends."""
    lines, size = fitted(text, range(size, size * 2 // 3, -2), width, most, slanted=True)
    x, y = at
    for line in lines:
        letters(size, slanted=True).write(draw, (x, y + size), line, INK)
        y += round(size * 1.12)
    return y


def _line(
    draw: ImageDraw.ImageDraw,
    text: str,
    at: tuple[int, int],
    width: int,
    size: int,
    ink: Ink = INK,
    most: int = 1,
) -> int:
    """Text from the top `at` down; where it ends. Nothing takes no room."""
    if not text:
        return at[1]
    lines, fits = fitted(text, range(size, size * 3 // 4, -1), width, most)
    x, y = at
    for line in lines:
        letters(fits).write(draw, (x, y + size), line, ink)
        y += round(fits * 1.25)
    return y + round(0.25 * (size - fits))


def _number(
    draw: ImageDraw.ImageDraw,
    text: str,
    at: tuple[int, int],
    width: int,
    size: int,
    ink: Ink,
) -> int:
    """Old-style numerals from the top `at` down; where the tails of the longest would end.

    Room is left for the tallest and the deepest one, so that nothing moves from day to day.
    """
    fits = size
    while fits > 20 and letters(fits).length(text) > width:
        fits -= 2
    base = at[1] + round(_RISE * size)
    letters(fits).write(draw, (at[0] - round(0.03 * size), base), text, ink)
    return base + round(_FALL * size)


def _age(
    draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold, at: tuple[int, int], width: int
) -> int:
    """Label, number and date of the day, one below the other; where they end."""
    x, y = at
    small_capitals(draw, (x, y + shape.small), told.label, shape.small, FAINT, width)
    y += round(1.5 * shape.small)
    y = _number(draw, told.numeral, (x, y), width, shape.numeral, INK)
    return _line(draw, told.day, (x, y + shape.small // 6), width, shape.small)


def _growth(
    draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold, at: tuple[int, int], width: int
) -> int:
    """Growth in a week, its interval and whose it is; where they end."""
    x, y = at
    if not told.growth:
        return y
    y = _number(draw, told.growth, (x, y), width, shape.growth, ACCENT)
    y = _line(draw, told.week, (x, y), width, shape.small)
    y = _line(draw, told.between, (x, y), width, shape.small - 3, FAINT)
    return _line(draw, told.who, (x, y), width, shape.small - 3, FAINT, 1 if told.between else 2)


def _link(draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold) -> None:
    left, top, right, _ = shape.text
    width = right - left
    draw.line([(shape.picture[0] - 1, 0), (shape.picture[0] - 1, shape.size[1])], INK, 2)
    _double_rule(draw, left, right, top)
    _title(draw, told.title, (left, top + 14), width, shape.title, 3)
    y = _age(draw, shape, told, (left, 196), width)
    if told.growth:
        draw.line([(left, y + 14), (right, y + 14)], RULE, 1)
    _growth(draw, shape, told, (left, y + 26), width)


def _square(draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold) -> None:
    left, top, right, bottom = shape.text
    edge, middle = shape.picture[3], 430
    draw.line([(0, edge), (shape.size[0], edge)], INK, 3)
    draw.line([(0, edge + 7), (shape.size[0], edge + 7)], INK, 1)
    _age(draw, shape, told, (left, top), middle - left - 30)
    draw.line([(middle, top + 8), (middle, bottom)], RULE, 1)
    at, width = middle + 36, right - middle - 36
    y = _title(draw, told.title, (at, top - 10), width, shape.title, 1 if told.growth else 4)
    _growth(draw, shape, told, (at, y + 16), width)


def _upright(draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold) -> None:
    left, top, right, bottom = shape.text
    above, edge, middle = shape.picture[1], shape.picture[3], 500
    _double_rule(draw, left, right, top - 18)
    draw.line([(0, above - 1), (shape.size[0], above - 1)], INK, 2)
    draw.line([(0, edge), (shape.size[0], edge)], INK, 2)
    _title(draw, told.title, (left, top), right - left, shape.title, 2)
    _age(draw, shape, told, (left, edge + 30), middle - left - 36)
    if told.growth:
        draw.line([(middle, edge + 36), (middle, bottom - 76)], RULE, 2)
        _growth(draw, shape, told, (middle + 40, edge + 40), right - middle - 40)
    draw.line([(left, bottom - 42), (right, bottom - 42)], INK, 2)
    _line(draw, told.place, (left, bottom - 38), right - left, shape.small - 6, FAINT)
