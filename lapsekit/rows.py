"""Rows of the season's CSV texts, with where each one stands (pure)."""

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One row.

    Attributes
    ----------
    line : int
        Its first line in the file, from 1.
    cells : list of str
    start, end : int
        Where in the text it begins, and where the next line does.
    """

    line: int
    cells: list[str]
    start: int
    end: int


def rows(text: str, skips_space: bool = False) -> list[Row]:
    """Rows of a CSV text; empty lines and lines that begin with # are passed over.

    Parameters
    ----------
    text : str
        Any line endings. A cell in quotation marks may go over several lines.
    skips_space : bool
        Whether a quotation mark may follow a comma and a space.
    """
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    return [row for row in _rows(text, skips_space) if any(cell.strip() for cell in row.cells)]


def _rows(text: str, skips_space: bool) -> Iterator[Row]:
    starts, is_fresh = [0], True

    def lines() -> Iterator[str]:
        nonlocal is_fresh
        for line in io.StringIO(text, newline=""):
            starts.append(starts[-1] + len(line))
            is_comment = is_fresh and line.lstrip().startswith("#")
            is_fresh = False
            yield "\n" if is_comment else line

    first = 0
    for cells in csv.reader(lines(), skipinitialspace=skips_space):
        yield Row(first + 1, cells, starts[first], starts[-1])
        first, is_fresh = len(starts) - 1, True


def row_text(cells: Iterable[str], like: str = "") -> str:
    """A row as CSV, without line ending; all in quotation marks where the row it replaces is."""
    is_quoted = like.lstrip().startswith('"') and like.rstrip().endswith('"')
    out = io.StringIO()
    quoting = csv.QUOTE_ALL if is_quoted else csv.QUOTE_MINIMAL
    csv.writer(out, lineterminator="", quoting=quoting).writerow(cells)
    return out.getvalue()


def line_ending(text: str) -> str:
    r"""How the lines of a text end: ``\r\n`` where any does."""
    return "\r\n" if "\r\n" in text else "\n"


def with_rows(text: str, added: Iterable[Iterable[str]]) -> str:
    """The text with rows at its end."""
    end = line_ending(text)
    before = text if not text or text.endswith(("\n", "\r")) else text + end
    return before + "".join(row_text(cells) + end for cells in added)


def replaced(text: str, row: Row, cells: Iterable[str] | None) -> str:
    """The text with a row written anew, its line ending kept, or without it (None)."""
    if cells is None:
        return text[: row.start] + text[row.end :]
    was = text[row.start : row.end]
    bare = was.rstrip("\r\n")
    return text[: row.start] + row_text(cells, bare) + was[len(bare) :] + text[row.end :]
