"""The shapes of the cards, and where their parts stand. Pure numbers, in px."""

from dataclasses import dataclass

Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class Shape:
    """One card.

    Attributes
    ----------
    size : tuple of int
        Width and height.
    picture : tuple of int
        Left, top, right and bottom of the picture.
    text : tuple of int
        The box that text keeps to. What lies outside may be covered by the buttons of whoever
        shows the card.
    numeral, growth, title, small : int
        Sizes of the letters.
    """

    size: tuple[int, int]
    picture: Box
    text: Box
    numeral: int
    growth: int
    title: int
    small: int


SHAPES = {
    "link": Shape((1200, 630), (372, 0, 1200, 630), (40, 36, 340, 600), 146, 78, 40, 26),
    "square": Shape((1080, 1080), (0, 0, 1080, 744), (56, 774, 1024, 1046), 162, 88, 44, 32),
    "upright": Shape((1080, 1920), (0, 404, 1080, 1214), (72, 256, 1008, 1600), 194, 112, 62, 38),
}
