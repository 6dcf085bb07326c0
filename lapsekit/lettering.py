"""Letters and inks of the pictures that Pillow draws, in the almanac's look.

What is lettered may be long, of one endless word, or of letters that the almanac's type has not:
such letters are left out, and a text that would lose most of its letters is not drawn at all.
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from pathlib import Path

from PIL import ImageDraw, ImageFont, features

from lapsekit.plain import one_line
from lapsekit.resources import caption_font, shared_folder

Ink = tuple[int, int, int]
PAPER, INK, FAINT = (250, 246, 236), (43, 38, 34), (112, 102, 90)
RULE, ACCENT = (205, 193, 168), (154, 47, 28)
_ELLIPSIS = "…"
#: Small capitals stand this far apart, as a share of their size.
_SPACED = 0.06
_SMALL_CAPITALS = ("smcp", "c2sc")


@lru_cache(maxsize=16)
def font(size: int) -> ImageFont.FreeTypeFont:
    """The almanac's upright letters with figures of one height, `size` px high."""
    return ImageFont.truetype(caption_font(), size)


class Letters:
    """The almanac's letters in one size; its numerals are old-style ones.

    The type lies in two files, the usual letters in the first, so that a page loads fewer of them.

    Parameters
    ----------
    size : int
        Height in px.
    slanted : bool
    """

    def __init__(self, size: int, slanted: bool = False):
        self._slanted = slanted
        self._fonts = [ImageFont.truetype(file, size) for file in _files(slanted)]

    def length(self, text: str, **options: list[str]) -> float:
        """How wide a line is, in px."""
        return sum(face.getlength(part, **options) for face, part in self._parts(text))

    def write(
        self,
        draw: ImageDraw.ImageDraw,
        at: tuple[float, float],
        text: str,
        ink: Ink,
        **options: list[str],
    ) -> None:
        """Draw a line with the left end of its baseline `at`."""
        x, y = at
        for face, part in self._parts(text):
            draw.text((x, y), part, ink, face, anchor="ls", **options)
            x += face.getlength(part, **options)

    def _parts(self, text: str) -> Iterator[tuple[ImageFont.FreeTypeFont, str]]:
        """Stretches of a line with the file that has their letters."""
        for number, part in groupby(text, key=self._file_of):
            yield self._fonts[number], "".join(part)

    def _file_of(self, letter: str) -> int:
        return file_with(letter, self._slanted) or 0


def _files(slanted: bool) -> list[Path]:
    style = "italic" if slanted else "regular"
    fonts = shared_folder("site_template") / "fonts"
    return [fonts / f"almanac-{style}.woff2", fonts / f"almanac-{style}-more.woff2"]


@lru_cache(maxsize=4096)
def file_with(letter: str, slanted: bool = False) -> int | None:
    """Which of the type's two files has ink for a letter; None if neither has."""
    for number, file in enumerate(_files(slanted)):
        if _opened(file).getmask(letter).getbbox() is not None:
            return number
    return None


@lru_cache(maxsize=4)
def _opened(file: Path) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(file, 40)


@lru_cache(maxsize=64)
def letters(size: int, slanted: bool = False) -> Letters:
    """The almanac's letters, `size` px high."""
    return Letters(size, slanted)


def drawable(text: str, longest: int = 300) -> str:
    """`text` on one line, of letters that the type has; empty where most are missing."""
    line = one_line(text, longest)
    known = "".join(letter for letter in line if letter == " " or file_with(letter) is not None)
    kept = " ".join(known.split())
    return kept if 2 * len(kept) >= len(line) else ""


def wrapped(text: str, font: Letters, width: float) -> list[str]:
    """Lines no wider than `width`; a word that is wider is cut where it must be."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if font.length(longer) <= width:
            lines[-1] = longer
            continue
        pieces = _pieces(word, font, width)
        lines += pieces if lines[-1] else []
        lines = lines if lines[-1] else pieces
    return lines


def _pieces(word: str, font: Letters, width: float) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and font.length(pieces[-1] + letter) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def fitted(
    text: str, sizes: Sequence[int], width: float, most_lines: int = 1, slanted: bool = False
) -> tuple[list[str], int]:
    """Lines of `text` in the largest of `sizes` that leaves it in `most_lines`.

    Returns
    -------
    lines : list of str
        In the smallest size, what has no room is cut off with an ellipsis.
    size : int
    """
    for size in sizes:
        lines = wrapped(text, letters(size, slanted), width)
        if len(lines) <= most_lines and not _is_cut(text, lines):
            return lines, size
    kept = lines[:most_lines]
    if len(lines) > most_lines:
        kept[-1] = _with_ellipsis(kept[-1], letters(size, slanted), width)
    return kept, size


def _is_cut(text: str, lines: Sequence[str]) -> bool:
    """Whether a word had to be cut."""
    return len(text.split()) < sum(len(line.split()) for line in lines)


def _with_ellipsis(line: str, font: Letters, width: float) -> str:
    while line and font.length(line + _ELLIPSIS) > width:
        line = line[:-1]
    return line.rstrip() + _ELLIPSIS


def small_capitals(
    draw: ImageDraw.ImageDraw,
    at: tuple[float, float],
    text: str,
    size: int,
    ink: Ink,
    width: float,
) -> None:
    """A line of spaced small capitals on the baseline `at`, never wider than `width`."""
    while size > 12 and _spaced_length(text, size) > width:
        size -= 1
    x, y = at
    for letter in text:
        letters(size).write(draw, (x, y), _capital(letter), ink, **_options())
        x += _advance(letter, size)


def _spaced_length(text: str, size: int) -> float:
    return sum(_advance(letter, size) for letter in text)


def _advance(letter: str, size: int) -> float:
    return letters(size).length(_capital(letter), **_options()) + _SPACED * size


@lru_cache(maxsize=1)
def _options() -> dict[str, list[str]]:
    """Small capitals are a feature of the type, which a Pillow without raqm cannot ask for."""
    return {"features": list(_SMALL_CAPITALS)} if features.check("raqm") else {}


def _capital(letter: str) -> str:
    return letter if _options() else letter.upper()
