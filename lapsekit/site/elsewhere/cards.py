"""The cards: the picture of the day with its number and the week's growth, in the almanac's look.

A link preview (1200 × 630 px), a square (1080 × 1080) and an upright one (1080 × 1920).
"""

import hashlib
import io
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from PIL import Image, ImageDraw

from lapsekit.site.elsewhere.card_letters import drawable, fitted, letters, small_capitals
from lapsekit.site.elsewhere.card_shapes import SHAPES, Box, Shape
from lapsekit.site.elsewhere.saying import age_said, signed
from lapsekit.site.elsewhere.together import together, who_text
from lapsekit.site.elsewhere.told import SeasonTold

if TYPE_CHECKING:
    from lapsekit.site.words import Words

PAPER, INK, FAINT = (246, 240, 225), (36, 30, 23), (102, 91, 76)
RULE, ACCENT = (205, 193, 168), (154, 47, 28)
#: Raised when the same words and picture are drawn otherwise, so that kept cards are not used.
DRAWING = 1
_QUALITY = 86
#: More of a picture than this share is not cut off; it then stands on paper, whole.
_MOST_CUT = 0.22


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
    label = words.text("Plant age in days")
    return CardTold(
        title=drawable(season.title),
        label=drawable(age_said(told.age_days, words) if early else label),
        numeral="" if early else str(told.age_days),
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
        draw.text((x, y + size), line, INK, letters(size, slanted=True), anchor="ls")
        y += round(size * 1.12)
    return y


def _line(
    draw: ImageDraw.ImageDraw,
    text: str,
    at: tuple[int, int],
    width: int,
    size: int,
    ink: tuple[int, int, int] = INK,
    most: int = 1,
) -> int:
    """Text on the baseline `at`; the baseline that a line below it would have."""
    lines, size = fitted(text, range(size, size * 3 // 5, -1), width, most)
    x, y = at
    for line in lines if text else []:
        draw.text((x, y), line, ink, letters(size), anchor="ls")
        y += round(size * 1.25)
    return y


def _number(
    draw: ImageDraw.ImageDraw, text: str, at: tuple[int, int], width: int, size: int, ink: tuple
) -> None:
    while size > 20 and letters(size).getlength(text) > width:
        size -= 2
    draw.text(at, text, ink, letters(size), anchor="ls")


def _link(draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold) -> None:
    left, top, right, bottom = shape.text
    width = right - left
    draw.line([(shape.picture[0] - 1, 0), (shape.picture[0] - 1, shape.size[1])], INK, 2)
    _double_rule(draw, left, right, top)
    _title(draw, told.title, (left, top + 14), width, shape.title, 3)
    small_capitals(draw, (left, 250), told.label, shape.small, FAINT, width)
    _number(draw, told.numeral, (left - 6, 362), width, shape.numeral, INK)
    _line(draw, told.day, (left, 412), width, shape.small)
    draw.line([(left, 436), (right, 436)], RULE, 1)
    if told.growth:
        _number(draw, told.growth, (left - 4, 508), width, shape.growth, ACCENT)
        y = _line(draw, told.week, (left, 544), width, shape.small)
        _line(draw, told.who, (left, y), width, shape.small - 4, FAINT, 1)
    elif told.place:
        _line(draw, told.place, (left, bottom), width, shape.small, FAINT)


def _square(draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold) -> None:
    left, top, right, bottom = shape.text
    edge = shape.picture[3]
    draw.line([(0, edge), (shape.size[0], edge)], INK, 3)
    draw.line([(0, edge + 7), (shape.size[0], edge + 7)], INK, 1)
    middle = 420
    small_capitals(draw, (left, top + 34), told.label, shape.small, FAINT, middle - left - 40)
    _number(draw, told.numeral, (left - 6, top + 172), middle - left - 40, shape.numeral, INK)
    _line(draw, told.day, (left, bottom), middle - left - 30, shape.small)
    draw.line([(middle, top + 14), (middle, bottom)], RULE, 1)
    at, width = middle + 36, right - middle - 36
    _title(draw, told.title, (at, top - 6), width, shape.title, 1)
    if told.growth:
        _number(draw, told.growth, (at - 4, top + 150), width, shape.growth, ACCENT)
        y = _line(draw, told.week, (at, top + 198), width, shape.small)
        _line(draw, told.who, (at, y), width, shape.small - 3, FAINT)


def _upright(draw: ImageDraw.ImageDraw, shape: Shape, told: CardTold) -> None:
    left, top, right, bottom = shape.text
    width = right - left
    above, edge = shape.picture[1], shape.picture[3]
    draw.line([(0, above - 1), (shape.size[0], above - 1)], INK, 2)
    draw.line([(0, edge), (shape.size[0], edge)], INK, 2)
    _title(draw, told.title, (left, top), width, shape.title, 2)
    middle = 500
    small_capitals(draw, (left, edge + 68), told.label, shape.small, FAINT, middle - left - 40)
    _number(draw, told.numeral, (left - 8, edge + 250), middle - left - 40, shape.numeral, INK)
    draw.line([(middle, edge + 40), (middle, bottom)], RULE, 2)
    at, room = middle + 44, right - middle - 44
    _line(draw, told.day, (left, bottom), middle - left - 30, shape.small, INK)
    if told.growth:
        _number(draw, told.growth, (at - 6, edge + 150), room, shape.growth, ACCENT)
        y = _line(draw, told.week, (at, edge + 212), room, shape.small)
        _line(draw, told.who, (at, y), room, shape.small - 4, FAINT, 2)
