"""The table of all benchmarks: in 100 columns for a terminal, or as Markdown."""

import textwrap
from collections.abc import Mapping, Sequence
from itertools import chain

from tests.bench.rows import Row

WIDTH = 100
HEADS = ("stage", "beside, in the same run", "ratio", "memory", "10x")
WIDTHS = (36, 26, 15, 15, 5)
"""Of the columns; with the gaps between them `WIDTH` at most."""


def cells(row: Row) -> tuple[str, ...]:
    """What a row's columns say; a bar that is crossed stands with an exclamation mark."""
    return (
        f"{row.stage} ({row.told})" if row.told else row.stage,
        row.beside,
        _barred(row.ratio, row.at_most, ".2f", ""),
        _barred(row.memory_mb, row.memory_at_most_mb, ".0f", " MB"),
        "" if row.tenfold is None else f"{row.tenfold:.1f}",
    )


def _barred(value: float | None, bar: float | None, form: str, unit: str) -> str:
    if value is None:
        return ""
    told = f"{value:{form}}{unit}"
    if bar is None:
        return told
    sign = "≤" if value <= bar else "!>"
    return f"{told} {sign} {bar:g}"


def lines(facts: Mapping, found: Sequence) -> list[str]:
    """The table for a terminal, no line of it wider than `WIDTH`."""
    out = [*_facts(facts), "", _line(HEADS), "-" * WIDTH]
    for told in found:
        for row in told.rows:
            out += _wrapped(cells(row))
        if told.reason:
            out += textwrap.wrap(f"{told.name}: {told.reason}", WIDTH, subsequent_indent="  ")
    return out


def markdown(facts: Mapping, found: Sequence) -> list[str]:
    """The table as Markdown, with the machine and what was left out below it."""
    rows = [
        [cell.replace("|", "\\|") for cell in cells(row)] for told in found for row in told.rows
    ]
    head = [f"| {' | '.join(HEADS)} |", "|---|---|---:|---:|---:|"]
    left = [f"- {told.name}: {told.reason}" for told in found if told.reason]
    told = [*head, *(f"| {' | '.join(row)} |" for row in rows), "", " ".join(_facts(facts))]
    return [*told, *(["", *left] if left else [])]


def _facts(facts: Mapping) -> list[str]:
    here, versions = facts["machine"], facts["versions"]
    first = (
        f"{here['processor']}, {here['cores']} cores, {here['memory_mb']} MB, {here['kernel']}, "
        f"load {here['load']}."
    )
    second = ", ".join(f"{name} {told}" for name, told in versions.items()) + "."
    return [*textwrap.wrap(first, WIDTH), *textwrap.wrap(second, WIDTH)]


def _line(row: Sequence[str]) -> str:
    told = [f"{text:{width}}" for text, width in zip(row[:2], WIDTHS[:2], strict=True)]
    told += [f"{text:>{width}}" for text, width in zip(row[2:], WIDTHS[2:], strict=True)]
    return " ".join(told[:2]) + "".join(told[2:])


def _wrapped(row: Sequence[str]) -> list[str]:
    """A row in as many lines as its longest text needs."""
    first, second = (
        textwrap.wrap(text, width) or [""] for text, width in zip(row[:2], WIDTHS[:2], strict=True)
    )
    count = max(len(first), len(second))
    padded = [part + [""] * (count - len(part)) for part in (first, second)]
    ends = chain([row[2:]], [("",) * 3] * (count - 1))
    return [_line((*both, *end)).rstrip() for *both, end in zip(*padded, ends, strict=True)]
