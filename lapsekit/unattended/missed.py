"""missed.csv: frames that were due and did not come, and why. Appended to, never rewritten.

Together with the frames it accounts for every moment at which one was due.
"""

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from lapsekit.when import from_utc_text, utc_text

MISSED_FILE = "missed.csv"
HEADER = ("first_due_at", "last_due_at", "camera", "frames", "why")


@dataclass(frozen=True)
class Missed:
    """So many frames of a camera in a row that did not come, all for one reason."""

    first_due_at: datetime
    last_due_at: datetime
    camera: str
    frames: int
    why: str


def note_missed(folder: Path, camera: str, due: Sequence[datetime], why: str) -> None:
    """Add a line for frames in a row; a disk that is full or read-only is not told again here."""
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    path = folder / MISSED_FILE
    if not path.exists() or not path.stat().st_size:
        lines.writerow(HEADER)
    first, last = utc_text(due[0]), utc_text(due[-1])
    lines.writerow([first, last, camera, len(due), " ".join(why.split())])
    with path.open("ab+") as file:
        file.seek(max(0, file.tell() - 1))
        if file.read() not in (b"", b"\n"):  # a power cut left half a line
            file.write(b"\n")
        file.write(text.getvalue().encode())
        file.flush()
        os.fsync(file.fileno())


def read_missed(folder: Path) -> list[Missed]:
    """Every line that can be read, in the file's order; one cut short is passed over."""
    path = folder / MISSED_FILE
    if not path.exists():
        return []
    found = []
    with path.open(encoding="utf-8", errors="replace", newline="") as file:
        for row in csv.reader(file):
            try:
                first, last, camera, frames, why = row
                found.append(
                    Missed(from_utc_text(first), from_utc_text(last), camera, int(frames), why)
                )
            except ValueError:
                continue
    return found
