"""verdicts.csv: frames the grower said yes or no to, whatever screening holds of them."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from lapsekit.errors import SettingsError

VERDICTS_HEADER = "frame,verdict,note"
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
        A CSV file with the columns frame, verdict (yes or no) and, if wanted, note.

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
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    reader = csv.DictReader(text.splitlines(), skipinitialspace=True)
    if not text.strip():
        return []
    if not {"frame", "verdict"} <= set(reader.fieldnames or ()):
        raise SettingsError(
            f'{path}: line 1 = "{text.splitlines()[0]}": the first line must be {VERDICTS_HEADER} '
            "(with commas)"
        )
    return [_ruling(path, reader.line_num, row) for row in reader]


def _ruling(path: Path, line: int, row: dict[str | None, str | None]) -> Ruling:
    frame, verdict, note = ((row.get(name) or "").strip() for name in ("frame", "verdict", "note"))
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
        named.setdefault(PurePosixPath(frame).name, []).append(frame)
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
