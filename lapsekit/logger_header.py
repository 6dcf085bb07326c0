"""Which line of a logger's file names the columns: loggers write lines of their own above it."""

import csv
import re
import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path

from lapsekit.errors import SettingsError

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_FIGURE = re.compile(r"[-+]?\d[\d.,:/ TZ+-]*([AaPp][Mm]|%)?")
_LIKELY_LINES = 200
"""Among so many first lines the likeliest header is looked for where none names all."""
_ALIKE, _ALIKE_SHORT, _SHORT_LETTERS = 0.4, 0.6, 6
"""How alike names have to be; where both are short, half the letters are shared by chance."""


@dataclass(frozen=True)
class Header:
    """A line that names columns, or could.

    Attributes
    ----------
    line : int
        Counted from 1.
    separator : str
        A key of `SEPARATORS`.
    cells : list of str
    rows : int
        Rows of figures that stand right below it; counted only where no line names all.
    """

    line: int
    separator: str
    cells: list[str]
    rows: int = 0


def find_header(path: Path, text: str, wanted: Mapping[str, str]) -> Header:
    """The first line that names all columns.

    Parameters
    ----------
    path : pathlib.Path
        Of the file, for messages.
    text : str
        All of it.
    wanted : mapping of str to str
        Each column by the option that names it.

    Raises
    ------
    SettingsError
        If no line names them all, or a line names one twice; tells what the likeliest line names,
        and the nearest names.
    """
    lines = text.splitlines()
    sure = [name for name in wanted.values() if '"' not in name]
    for number, line in enumerate(lines, start=1):
        for separator in SEPARATORS if all(name in line for name in sure) else ():
            header = Header(number, separator, _cells(line, separator))
            if set(wanted.values()) <= set(header.cells):
                _require_once(path, header, wanted.values())
                return header
    first = lines[:_LIKELY_LINES]
    named = [each for sep in SEPARATORS for each in _lines(first, sep) if len(each.cells) > 1]
    likeliest = max(named, key=lambda each: _likelihood(each, wanted.values()), default=None)
    raise SettingsError(f"{path}: {_told_missing(wanted, likeliest)}")


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]


def _lines(lines: Sequence[str], separator: str) -> Iterator[Header]:
    """Lines that hold anything, from the last, with the rows below each."""
    rows = 0
    for number, line in reversed(list(enumerate(lines, start=1))):
        if line.strip():
            cells = _cells(line, separator)
            yield Header(number, separator, cells, rows)
            rows = rows + 1 if _is_row(cells) else 0


def _is_row(cells: Sequence[str]) -> bool:
    told = [cell for cell in cells if cell]
    figures = sum(_FIGURE.fullmatch(cell) is not None for cell in told)
    return len(cells) > 1 and figures > 0 and 2 * figures >= len(told)


def _likelihood(header: Header, wanted: Sequence[str]) -> tuple[int, ...]:
    known = sum(name in header.cells for name in wanted)
    rows = 0 if _is_row(header.cells) else header.rows
    return known, rows, len(header.cells), -header.line


def _require_once(path: Path, header: Header, wanted: Sequence[str]) -> None:
    for name in wanted:
        if (times := header.cells.count(name)) > 1:
            raise SettingsError(
                f'{path}: line {header.line} names "{name}" {times} times; rename one'
            )


def _told_missing(wanted: Mapping[str, str], header: Header | None) -> str:
    names = [] if header is None else [name for name in header.cells if name]
    missing = {option: name for option, name in wanted.items() if name not in names}
    told = f"no column {_quoted(missing.values())}"
    if header is None:
        return f"{told}, nor names between commas, semicolons or tabs at all; export it as CSV"
    near = _nearest(missing.values(), [name for name in names if name not in wanted.values()])
    options = " ".join(
        f"{option} {shlex.quote(near[name]) if name in near else 'COLUMN'}"
        for option, name in missing.items()
    )
    ask = f"did you mean {options}?" if near else f"say which is which with {options}"
    return f"{told}; line {header.line} names {_quoted(names)}; {ask}"


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _nearest(missing: Sequence[str], names: Sequence[str]) -> dict[str, str]:
    """The most alike of the names for each that is missing; none serves two."""
    pairs = [
        (SequenceMatcher(None, lacked.lower(), name.lower()).ratio(), lacked, name)
        for lacked in missing
        for name in names
    ]
    found: dict[str, str] = {}
    for alike, lacked, name in sorted(pairs, reverse=True):
        if (
            alike >= _least_alike(lacked, name)
            and lacked not in found
            and name not in found.values()
        ):
            found[lacked] = name
    return found


def _least_alike(one: str, other: str) -> float:
    return _ALIKE_SHORT if max(len(one), len(other)) <= _SHORT_LETTERS else _ALIKE
