"""copied.csv: which files of a season lie, verified, where ``[copies]`` says.

A line is added when the content at the far side has been compared, never before; it is struck when
that is found to be otherwise. Thinning trusts these lines.
"""

import csv
import io
import os
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from lapsekit.safely import write_safely
from lapsekit.when import from_utc_text, utc_text

COPIED_FILE = "copied.csv"
COPIED_HEADER = "path,sha256,verified_at"

_SHA256 = re.compile(r"[0-9a-f]{64}")
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


@dataclass(frozen=True)
class Copied:
    """One line of copied.csv.

    Attributes
    ----------
    path : str
        Path in the season folder, which is the path at the far side too.
    sha256 : str
        Of the content that was found there, in hexadecimal.
    verified_at : datetime
        When it was last compared.
    """

    path: str
    sha256: str
    verified_at: datetime


def read_copied(season_folder: Path) -> dict[str, Copied]:
    """Lines of copied.csv by path, the last of each; none if there is no such file.

    A line that is not whole (the power failed while it was written) claims nothing.
    """
    try:
        text = (season_folder / COPIED_FILE).read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return {}
    rows = (row for line in text.splitlines() for row in csv.reader([line]))
    whole = (
        Copied(row[0], row[1], from_utc_text(row[2]))
        for row in rows
        if len(row) == 3 and _SHA256.fullmatch(row[1]) and _MOMENT.fullmatch(row[2])
    )
    return {each.path: each for each in whole}


def last_verified(season_folder: Path) -> datetime | None:
    """When the last copy was verified; None where there was none.

    Every copy compares the season's own texts, so that this moves with each that went well.
    """
    moments = (each.verified_at for each in read_copied(season_folder).values())
    return max(moments, default=None)


def note_copied(season_folder: Path, rows: Iterable[Copied]) -> None:
    """Add lines, synced to the disk."""
    text = _lines(rows)
    if not text:
        return
    with (season_folder / COPIED_FILE).open("ab+") as file:
        if file.tell() == 0:
            text = f"{COPIED_HEADER}\n{text}"
        else:
            file.seek(-1, os.SEEK_END)
            text = text if file.read(1) == b"\n" else f"\n{text}"  # after a line that was cut off
        file.write(text.encode())
        file.flush()
        os.fsync(file.fileno())


def rewrite_copied(season_folder: Path, rows: Iterable[Copied]) -> None:
    """Replace all lines by these."""
    write_safely(season_folder / COPIED_FILE, f"{COPIED_HEADER}\n{_lines(rows)}".encode())


def _lines(rows: Iterable[Copied]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows((each.path, each.sha256, utc_text(each.verified_at)) for each in rows)
    return out.getvalue()
