"""A text of the grower's as blocks that a page can show: headings, lists, paragraphs. Pure.

What Markdown calls ``# Heading``, ``- item`` and an empty line is known, and nothing else: no link,
no markup. All else is shown as it was written.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from lapsekit.plain import readable

_HEADING = re.compile(r"#{1,6}\s+(.*)")
_ITEM = re.compile(r"[-*]\s+(.*)")


@dataclass(frozen=True)
class Block:
    """A part of a text; `lines` are the items of a list, else there is one."""

    kind: Literal["heading", "list", "paragraph"]
    lines: tuple[str, ...]


def blocks_of(text: str) -> tuple[Block, ...]:
    """The blocks of a text, in order."""
    lines = [line.strip() for line in readable(text).splitlines()]
    return tuple(
        block
        for is_empty, part in groupby(lines, key=lambda line: not line)
        if not is_empty
        for block in _blocks(list(part))
    )


def _blocks(lines: list[str]) -> Iterator[Block]:
    """The blocks of lines without an empty one between them."""
    for kind, part in groupby(lines, key=_kind):
        told = list(part)
        if kind == "heading":
            yield from (Block(kind, (_HEADING.fullmatch(line)[1],)) for line in told)
        elif kind == "list":
            yield Block(kind, tuple(_ITEM.fullmatch(line)[1] for line in told))
        else:
            yield Block(kind, (" ".join(told),))


def _kind(line: str) -> Literal["heading", "list", "paragraph"]:
    if _HEADING.fullmatch(line):
        return "heading"
    return "list" if _ITEM.fullmatch(line) else "paragraph"
