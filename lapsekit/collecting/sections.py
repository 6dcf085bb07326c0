"""Which cards of a collection's index stand on which page. Pure.

What grows now comes first, then earlier years, the latest first. Few seasons stand on one page;
of many, the front page shows as many as a reader scrolls through, and each year has its own pages.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from lapsekit.collecting.cards import Card

A_PAGE = 48
FRONT = "index.html"
NOW = "now"


@dataclass(frozen=True)
class Section:
    """Cards under one heading: those that grow now (`year` is None), or those sown in a year."""

    year: int | None
    cards: tuple[Card, ...]

    @property
    def count(self) -> int:
        """How many seasons are in it."""
        return len(self.cards)

    def path(self, number: int) -> str:
        """Path in the site of its page `number`, from 1."""
        place = NOW if self.year is None else f"year/{self.year}"
        return f"{place}/{FRONT}" if number == 1 else f"{place}/{number}/{FRONT}"


@dataclass(frozen=True)
class Sheet:
    """One page.

    Attributes
    ----------
    path : str
    sections : list of Section
        What is shown, each with the cards of this page.
    others : list of (Section, str)
        Sections that have pages of their own, with the path of their first.
    before, after : str or None
        Paths of the pages before and after in the same section.
    """

    path: str
    sections: list[Section]
    others: list[tuple[Section, str]]
    before: str | None = None
    after: str | None = None


def in_sections(cards: Sequence[Card]) -> list[Section]:
    """Cards under their headings: now by their last day, years by title."""
    now = [card for card in cards if not card.is_over]
    now.sort(key=lambda card: (-(card.last or card.sown).toordinal(), card.title))
    years: dict[int, list[Card]] = {}
    for card in cards:
        if card.is_over:
            years.setdefault(card.sown.year, []).append(card)
    earlier = [
        Section(year, tuple(sorted(years[year], key=lambda c: (c.title, c.first or date.min))))
        for year in sorted(years, reverse=True)
    ]
    return ([Section(None, tuple(now))] if now else []) + earlier


def sheets(sections: Sequence[Section], a_page: int = A_PAGE) -> Iterator[Sheet]:
    """Pages of an index, the front page last."""
    on_front, room = [], a_page
    for section in sections:
        if section.count > room:
            break
        on_front.append(section)
        room -= section.count
    apart = list(sections[len(on_front) :])
    if not on_front and apart:  # more grow now than a page holds: the first of them
        on_front = [Section(apart[0].year, apart[0].cards[:a_page])]
    others = [(section, section.path(1)) for section in apart]
    for section in apart:
        parts = [section.cards[n : n + a_page] for n in range(0, section.count, a_page)]
        for number, part in enumerate(parts, start=1):
            yield Sheet(
                section.path(number),
                [Section(section.year, part)],
                others,
                section.path(number - 1) if number > 1 else None,
                section.path(number + 1) if number < len(parts) else None,
            )
    yield Sheet(FRONT, on_front, others)
