"""Which line of a logger's file names the columns: loggers write lines of their own above it."""

import csv
import re
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from difflib import SequenceMatcher
from pathlib import Path

from lapsekit.errors import SettingsError
from lapsekit.logger_times import kind_of

Wanted = Sequence[tuple[str, str]]
"""Options with the column that each names; one option may name two."""

TIME = "--time"
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
    first : list of str
        The cells of the first of these rows.
    """

    line: int
    separator: str
    cells: list[str]
    rows: int = 0
    first: list[str] = field(default_factory=list)

    def names_of(self, kind: str) -> list[str]:
        """Columns of which the first row holds a moment, a day or a clock; see `kind_of`."""
        pairs = zip(self.cells, self.first, strict=False)
        return [name for name, cell in pairs if name and kind_of(cell) == kind]


def find_header(path: Path, text: str, wanted: Wanted) -> Header:
    """The first line that names all columns.

    Parameters
    ----------
    path : pathlib.Path
        Of the file, for messages.
    text : str
        All of it.
    wanted : sequence of (str, str)
        Each column, after the option that names it.

    Raises
    ------
    SettingsError
        If no line names them all, or a line names one twice; tells what the likeliest line names,
        and the nearest names.
    """
    lines = text.splitlines()
    columns = [name for _, name in wanted]
    sure = [name for name in columns if '"' not in name]
    for number, line in enumerate(lines, start=1):
        for separator in SEPARATORS if all(name in line for name in sure) else ():
            header = Header(number, separator, _cells(line, separator))
            if set(columns) <= set(header.cells):
                _require_once(path, header, columns)
                below = next((each for each in lines[number:] if each.strip()), "")
                return replace(header, first=_cells(below, separator) if below else [])
    first = lines[:_LIKELY_LINES]
    named = [each for sep in SEPARATORS for each in _lines(first, sep) if len(each.cells) > 1]
    likeliest = max(named, key=lambda each: _likelihood(each, columns), default=None)
    raise SettingsError(f"{path}: {_told_missing(wanted, likeliest)}")


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]


def _lines(lines: Sequence[str], separator: str) -> Iterator[Header]:
    """Lines that hold anything, from the last, with the rows below each."""
    rows, below = 0, []
    for number, line in reversed(list(enumerate(lines, start=1))):
        if line.strip():
            cells = _cells(line, separator)
            yield Header(number, separator, cells, rows, below)
            rows, below = (rows + 1, cells) if _is_row(cells) else (0, [])


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


def _told_missing(wanted: Wanted, header: Header | None) -> str:
    names = [] if header is None else [name for name in header.cells if name]
    missing = [(option, name) for option, name in wanted if name not in names]
    told = f"no column {_quoted([name for _, name in missing])}"
    if header is None:
        return f"{told}, nor names between commas, semicolons or tabs at all; export it as CSV"
    near = _nearest(missing, header, [name for _, name in wanted])
    options = " ".join(
        f"{option} {shlex.quote(column)}" if column else f"{option} COLUMN"
        for option, name in missing
        for column in near.get(name) or [""]
    )
    ask = f"did you mean {options}?" if near else f"say which is which with {options}"
    return f"{told}; line {header.line} names {_quoted(names)}; {ask}"


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _nearest(missing: Wanted, header: Header, taken: Sequence[str]) -> dict[str, list[str]]:
    """What may be meant by each that is missing: for times what holds any, else the most alike.

    No column serves two.
    """
    times = _times_in(header)
    timed = {option for option, _ in missing} & {TIME} and not set(times) & set(taken)
    found = {lacked: times for option, lacked in missing if option == TIME and times and timed}
    holds_time = {name for kind in ("moment", "day", "clock") for name in header.names_of(kind)}
    pairs = [
        (SequenceMatcher(None, lacked.lower(), name.lower()).ratio(), lacked, name)
        for option, lacked in missing
        for name in header.cells
        if name and name not in taken and _may_be(option, name in holds_time, header)
    ]
    used = set(times) if found else set()
    for alike, lacked, name in sorted(pairs, reverse=True):
        if alike >= _least_alike(lacked, name) and lacked not in found and name not in used:
            found[lacked] = [name]
            used.add(name)
    return found


def _times_in(header: Header) -> list[str]:
    """The columns that tell when, without doubt: one of moments, or one of days and a clock's."""
    moments, days, clocks = (header.names_of(kind) for kind in ("moment", "day", "clock"))
    if len(moments) == 1:
        return moments
    return [*days, *clocks] if not moments and len(days) == len(clocks) == 1 else []


def _may_be(option: str, holds_time: bool, header: Header) -> bool:
    return not header.first or holds_time == (option == TIME)


def _least_alike(one: str, other: str) -> float:
    return _ALIKE_SHORT if max(len(one), len(other)) <= _SHORT_LETTERS else _ALIKE
