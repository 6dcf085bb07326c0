"""verdicts.csv: frames the grower said yes or no to, whatever screening holds of them."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from lapsekit.errors import SettingsError
from lapsekit.rows import Row, replaced, rows, with_rows

VERDICTS_HEADER = "frame,verdict,note"
SAID_YES, SAID_NO = "said yes", "said no"
_WORDS = {"yes": True, "no": False}


@dataclass(frozen=True)
class Ruling:
    """One line of verdicts.csv.

    Attributes
    ----------
    frame : str
        The frame's path in the season folder, or its file name.
    use : bool
        Whether the grower wants it used.
    note : str
    line : int
        Line in the file.
    """

    frame: str
    use: bool
    note: str
    line: int


def read_verdicts(path: Path) -> list[Ruling]:
    """Rulings of verdicts.csv, in the file's order; none if there is no such file.

    Parameters
    ----------
    path : pathlib.Path
        A CSV file with the columns frame, verdict (yes or no) and, if wanted, note. Empty lines
        and lines that begin with # are passed over.

    Raises
    ------
    SettingsError
        If the file is not such a table, or a line has no frame or a verdict other than yes or
        no; names file, line and value.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error}); save it as CSV in UTF-8") from error
    return parse_verdicts(text, path)


def parse_verdicts(text: str, path: Path) -> list[Ruling]:
    """Rulings out of the text of a verdicts.csv that lies, or will lie, at `path`; raises alike."""
    found = _rows(text)
    if not found:
        return []
    columns = _columns(found)
    if not {"frame", "verdict"} <= set(columns):
        raise SettingsError(
            f'{path}: line {found[0].line} = "{",".join(found[0].cells)}": the first line must be '
            f"{VERDICTS_HEADER} (with commas)"
        )
    return [
        _ruling(path, row.line, dict(zip(columns, row.cells, strict=False))) for row in found[1:]
    ]


def _rows(text: str) -> list[Row]:
    return rows(text, skips_space=True)


def _columns(found: list[Row]) -> list[str]:
    return [name.strip() for name in found[0].cells]


def with_verdicts(text: str, frames: Iterable[str], use: bool, note: str | None = None) -> str:
    """The text of verdicts.csv with a verdict on some frames; all else in it stays as it is.

    Parameters
    ----------
    text : str
        The file's content, one that `read_verdicts` takes; "" for none.
    frames : iterable of str
        Their paths in the season folder. A line that names one, by path or by file name, gets the
        new verdict where it stands; the others are added at the end.
    use : bool
        Whether they are to be used.
    note : str, optional
        Why; without it a line whose verdict stays keeps its note, and one whose verdict changes
        loses it: it spoke of the other.

    Returns
    -------
    str
    """
    said = {"verdict": "yes" if use else "no"} | ({"note": note} if note is not None else {})
    text = text if _rows(text) else with_rows(text, [VERDICTS_HEADER.split(",")])
    if note and "note" not in _columns(_rows(text)):
        header = _rows(text)[0]
        text = replaced(text, header, [*header.cells, "note"])
    columns = _columns(_rows(text))
    for frame in frames:
        known = rows_about(text, [frame])
        for row in reversed(known):
            cells = [*row.cells, *[""] * (len(columns) - len(row.cells))]
            kept = dict(zip(columns, cells, strict=False))
            if _WORDS.get(kept["verdict"].strip().lower()) is not use and "note" in kept:
                kept["note"] = ""
            kept |= said
            now = [*(kept[name] for name in columns), *cells[len(columns) :]]
            text = replaced(text, row, now) if now != row.cells else text
        if not known:
            fields = {"frame": frame} | said
            text = with_rows(text, [[fields.get(name, "") for name in columns]])
    return text


def rows_about(text: str, frames: Iterable[str]) -> list[Row]:
    """Rows of a verdicts.csv that name one of these frames, by path or by file name."""
    names = {name for frame in frames for name in (frame, PurePosixPath(frame).name)}
    found = _rows(text)
    at = _columns(found).index("frame") if found else 0
    return [row for row in found[1:] if at < len(row.cells) and row.cells[at].strip() in names]


def _ruling(path: Path, line: int, row: dict[str, str]) -> Ruling:
    frame, verdict, note = (row.get(name, "").strip() for name in ("frame", "verdict", "note"))
    if not frame:
        raise SettingsError(f"{path}: line {line}: frame is missing; lapsekit frames lists them")
    if verdict.lower() not in _WORDS:
        raise SettingsError(
            f'{path}: line {line}: verdict = "{verdict}" for {frame}: write yes (use it) or no '
            "(leave it out)"
        )
    return Ruling(frame, _WORDS[verdict.lower()], note, line)


def _refuse_contradiction(path: Path, before: Ruling, ruling: Ruling) -> None:
    if before.use != ruling.use:
        raise SettingsError(
            f"{path}: line {ruling.line}: {ruling.frame} has another verdict in line "
            f"{before.line}; keep one of them"
        )


def by_path(
    path: Path, rulings: Iterable[Ruling], paths: Iterable[str]
) -> tuple[dict[str, Ruling], list[str]]:
    """Rulings by the path of the frame they mean.

    Parameters
    ----------
    path : pathlib.Path
        The file, for messages.
    rulings : iterable of Ruling
    paths : iterable of str
        Paths of the season's frames.

    Returns
    -------
    rulings : dict of str to Ruling
    notes : list of str
        A sentence for each ruling on a frame that is not there (any more).

    Raises
    ------
    SettingsError
        If a file name alone belongs to frames of several cameras, or two lines contradict each
        other.
    """
    named: dict[str, list[str]] = {}
    for frame in paths:
        named.setdefault(frame, []).append(frame)
        named.setdefault(frame.rpartition("/")[2], []).append(frame)
    found, notes = {}, []
    for ruling in rulings:
        meant = named.get(ruling.frame, [])
        if len(meant) > 1:
            raise SettingsError(
                f"{path}: line {ruling.line}: frame = {ruling.frame} may be any of "
                f"{', '.join(meant)}; write which"
            )
        if meant:
            before = found.setdefault(meant[0], ruling)
            _refuse_contradiction(path, before, ruling)
        else:
            notes.append(f"{path}: line {ruling.line}: no frame {ruling.frame} in this season")
    return found, notes
