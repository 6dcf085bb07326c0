"""Numbers that were corrected after they had been published: corrections.csv, the season's errata.

One correction a line: the day it was noticed, the region it concerns (empty for the whole bench),
the first and last day whose numbers changed, what was wrong, and what was done about it.
"""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from lapsekit.errors import SettingsError
from lapsekit.rows import Row, rows, with_rows

CORRECTIONS_HEADER = "noticed,region,from,until,wrong,change"
_COLUMNS = CORRECTIONS_HEADER.split(",")


@dataclass(frozen=True)
class Correction:
    """One line of corrections.csv.

    Attributes
    ----------
    noticed : datetime.date
    region : str
        Empty where numbers of the whole bench changed.
    first, last : datetime.date or None
        The days whose numbers changed; None where it is open.
    wrong : str
        What was wrong, in a sentence for readers.
    change : str
        What changed; may be empty.
    """

    noticed: date
    region: str
    first: date | None
    last: date | None
    wrong: str
    change: str = ""


def read_corrections(path: Path) -> tuple[list[Correction], list[str]]:
    """Corrections, newest first, and what is wrong with lines that were passed over.

    Raises
    ------
    SettingsError
        If the file is there and is not text.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return [], []
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error}); save it as CSV in UTF-8") from error
    return parse_corrections(text, path)


def parse_corrections(text: str, path: Path) -> tuple[list[Correction], list[str]]:
    """Corrections out of the text of a corrections.csv that lies, or will lie, at `path`."""
    found, corrections, problems = rows(text), [], []
    columns = [cell.strip() for cell in found[0].cells] if found else _COLUMNS
    if not {"noticed", "wrong"} <= set(columns):
        return [], [f"{path}: passed over; its first line must be {CORRECTIONS_HEADER}"]
    for row in found[1:]:
        correction = _correction(row, columns)
        if correction is None:
            problems.append(
                f"{path}: line {row.line} is passed over; it needs a date like 2031-04-17 and what "
                "was wrong"
            )
        else:
            corrections.append(correction)
    return sorted(corrections, key=lambda c: c.noticed, reverse=True), problems


def with_correction(text: str, correction: Correction) -> str:
    """The text of corrections.csv with one more line at its end; "" for no file yet.

    Raises
    ------
    SettingsError
        If its columns have no place for what is told.
    """
    text = text if rows(text) else with_rows(text, [_COLUMNS])
    columns = [cell.strip() for cell in rows(text)[0].cells]
    days = (str(day or "") for day in (correction.first, correction.last))
    values = (str(correction.noticed), correction.region, *days)
    fields = dict(zip(_COLUMNS, (*values, correction.wrong, correction.change), strict=True))
    homeless = [name for name, value in fields.items() if value and name not in columns]
    if homeless:
        raise SettingsError(
            f"corrections.csv: no column {', '.join(homeless)}; make its first line "
            f"{CORRECTIONS_HEADER}"
        )
    return with_rows(text, [[fields.get(name, "") for name in columns]])


def _correction(row: Row, columns: list[str]) -> Correction | None:
    fields = dict(zip(columns, row.cells, strict=False))
    noticed, region, first, last, wrong, change = (
        " ".join(fields.get(name, "").split()) for name in _COLUMNS
    )
    try:
        days = (date.fromisoformat(day) if day else None for day in (first, last))
        return (
            Correction(date.fromisoformat(noticed), region, *days, wrong, change) if wrong else None
        )
    except ValueError:
        return None
