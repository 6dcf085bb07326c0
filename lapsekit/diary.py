"""The grower's diary: what was done and seen, by day; read. `lapsekit.diary_lines` adds lines.

An event is any short text. `VOCABULARY` holds those that mean the same to everyone, so that the
same act is found again under the same words. Figures stand in the note, as a hand would write
them: ``12 cm`` for a height, ``125 g`` for a harvest, ``BBCH 61`` for a growth stage.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from lapsekit.errors import SettingsError
from lapsekit.lengths import centimetres
from lapsekit.rows import Row, rows
from lapsekit.season import DIARY_HEADER

COLUMNS = tuple(DIARY_HEADER.strip().split(","))
PICTURE_COLUMNS = ("picture", "picture_on_site")
"""Come into the first line of the diary with its first photograph."""

HEIGHT = "height"
VOCABULARY = {
    "sown": "seeds went into the soil",
    "emerged": "the first seedling is out",
    "potted on": "moved into a larger pot",
    "moved": "stands elsewhere, same pot",
    "fed": "got fertiliser",
    "watered": "got water",
    "cut": "leaves or shoots taken, the plant grows on",
    "pest": "eaten at, or infested",
    "cold": "a cold night, frost",
    "first flower": "the first flower is open",
    "first fruit": "the first fruit is set",
    "harvest": "taken whole; its weight goes into the note",
    HEIGHT: "how high the canopy stands over the bench, in the note",
}
PICTURES_FOLDER = "diary"
"""Where photographs of the diary lie in the season folder."""

PICTURE = re.compile(rf"{PICTURES_FOLDER}/[0-9A-Za-z][\w-]{{0,60}}\.jpe?g", re.ASCII)
_BBCH = re.compile(r"\bBBCH\s*(\d{1,2})\b", re.IGNORECASE)
_SOME_STAGE = re.compile(r"\bBBCH\W{0,3}\d", re.IGNORECASE)
_WEIGHT = re.compile(r"(\d+(?:[ \u00a0\u202f]\d{3})*)(?:[.,](\d+))?\s*(kg|g)\b")
_SOME_WEIGHT = re.compile(r"[\d½¼¾]\s*k?g\b")
_BEGINS = re.compile(r"(^|[,;:(.] +|(?<!\d)[,;:(.]|[^\W\d_] +)$")
"""What may stand before a weight: nothing, a mark, or a word. A number, a dash, a slash or × make
something else of it."""
_MAKES_OTHER = re.compile(r"(\bto|[x×]) *$")
_SPACED = re.compile(r"\d{1,3}( \d{3})+$")


@dataclass(frozen=True)
class Event:
    """One line of diary.csv.

    Attributes
    ----------
    day : date
    region : str
        Empty where the whole bench is meant.
    what, note : str
    line : int
        Where it stands in the file.
    pictures : tuple of str
        Photographs that belong to it, as paths in the season folder: ``diary/2031-04-17-1.jpg``.
    on_site : bool
        Whether the site may show them.
    """

    day: date
    region: str
    what: str
    note: str
    line: int = field(default=0, compare=False)
    pictures: tuple[str, ...] = ()
    on_site: bool = False

    @property
    def bbch(self) -> int | None:
        """Growth stage of the BBCH scale, 0 to 99, where the note tells it (Meier 2018)."""
        found = _BBCH.search(self.note)
        return int(found[1]) if found else None

    @property
    def has_unclear_stage(self) -> bool:
        """Whether it speaks of a growth stage, and its note tells none from 00 to 99."""
        return self.bbch is None and bool(_SOME_STAGE.search(f"{self.what} {self.note}"))

    @property
    def weight_g(self) -> float | None:
        """Weight of a harvest in grams, where its note tells one weight in one way.

        1,250 g may be 1250 g or 1.25 g, and "3-5 g" or "tray 3 350 g" something else still: they
        tell none.
        """
        found = list(_WEIGHT.finditer(self.note)) if self.what.lower() == "harvest" else []
        if len(found) != 1:
            return None
        before, (number, part, unit) = self.note[: found[0].start()], found[0].groups()
        begins = _BEGINS.search(before)
        if begins is None or _MAKES_OTHER.search(before):
            return None
        # After a word, "3 350 g" may be the third of something
        if " " in number and (not _SPACED.match(number) or before.strip(" ,;:(.") != ""):
            return None
        if unit == "g" and len(part or "") == len("000") and number != "0":
            return None
        whole = re.sub(r"\D", "", number)
        return float(f"{whole}.{part or 0}") * (1000 if unit == "kg" else 1)

    @property
    def has_unclear_weight(self) -> bool:
        """Whether a harvest's note speaks of a weight that cannot be told from it."""
        is_harvest = self.what.lower() == "harvest"
        return is_harvest and self.weight_g is None and bool(_SOME_WEIGHT.search(self.note))

    @property
    def height_cm(self) -> float | None:
        """How high a height's canopy stood, in cm, where its note begins with one length."""
        return centimetres(self.note) if self.what.lower() == HEIGHT else None

    @property
    def has_unclear_height(self) -> bool:
        """Whether a height tells no length, or none in one way."""
        return self.what.lower() == HEIGHT and self.height_cm is None


def read_diary(path: Path) -> tuple[list[Event], list[str]]:
    """Events of the diary, in order of day, and what is wrong with lines that were passed over.

    Parameters
    ----------
    path : pathlib.Path
        A CSV file with the columns date, region, event, note, and where there are photographs
        picture (their paths, with spaces between) and picture_on_site (yes or nothing); it may be
        absent. Empty lines and lines that begin with # are passed over.

    Returns
    -------
    events : list of Event
    problems : list of str
        One sentence for each line whose date or event cannot be read.

    Raises
    ------
    SettingsError
        If the file is there and is not text.
    """
    return parse_diary(diary_text(path), path)


def parse_diary(text: str, path: Path) -> tuple[list[Event], list[str]]:
    """Events out of the text of a diary that lies, or will lie, at `path`; as `read_diary`."""
    found = rows(text)
    if not found:
        return [], []
    columns = columns_of(found[0])
    if not {"date", "event"} <= set(columns):
        return [], [
            f"{path}: passed over; its first line must be {DIARY_HEADER.strip()} (with commas)"
        ]
    events, problems = [], []
    for row in found[1:]:
        event = event_in(row, columns)
        if event is None:
            problems.append(
                f"{path}: line {row.line} is passed over; it needs a date like 2031-04-17 and an "
                "event"
            )
        else:
            events.append(event)
    return sorted(events, key=lambda e: e.day), problems


def diary_text(path: Path) -> str:
    """The diary's text, "" where there is none; raises as `read_diary` does."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        return ""
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error}); save it as CSV in UTF-8") from error


def columns_of(header: Row) -> list[str]:
    """Names of the columns."""
    return [cell.strip() for cell in header.cells]


def whole_cells(cells: list[str], columns: Sequence[str]) -> list[str]:
    """Cells of a row, one a column: what a note without quotation marks lost to its commas is it.

    A row without such a note, or of no more cells than columns, stays as it is.
    """
    count = len(cells)
    while count > len(columns) and not cells[count - 1].strip():
        count -= 1
    more = count - len(columns)
    if more <= 0 or "note" not in columns:
        return cells
    place = columns.index("note")
    note = ",".join(cells[place : place + more + 1])
    return [*cells[:place], note, *cells[place + more + 1 : count]]


def event_in(row: Row, columns: Sequence[str]) -> Event | None:
    """What a row tells; None where its date or event cannot be read."""
    fields = dict(zip(columns, whole_cells(row.cells, columns), strict=False))
    day, region, what, note = (fields.get(name, "").strip() for name in COLUMNS)
    named, on_site = (fields.get(name, "").strip() for name in PICTURE_COLUMNS)
    pictures = tuple(name for name in named.split() if PICTURE.fullmatch(name))
    may_show = bool(pictures) and on_site.lower() == "yes"
    try:
        on = date.fromisoformat(day)
        return Event(on, region, what, note, row.line, pictures, may_show) if what else None
    except ValueError:
        return None
