"""What runs on a worker: pure but for reading frames, so that doing it twice changes nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import PurePosixPath

import cv2
import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.clusters.job import Batch, Bench, Job, Place
from lapsekit.clusters.versions import differences, versions
from lapsekit.errors import ClusterError, LapsekitError
from lapsekit.frames.indexing import Content, looked_at
from lapsekit.ruler import Rows, Ruler
from lapsekit.vision.pictures import encode_grey

Cover = tuple[str, date, str, str, bytes]
"""What `Shapes.keep_encoded_cover` is given."""


@dataclass(frozen=True)
class Found:
    """What became of one frame: its rows, or why it was not read; and its cover, if it has one."""

    frame: Frame
    rows: Rows | str
    cover: Cover | None


@dataclass(frozen=True)
class Files:
    """Frame files that are looked at together, by their paths."""

    paths: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.paths[0]} and {len(self.paths) - 1} more"


def look_around(place: Place, paths: Sequence[str]) -> str | None:
    """Whether this worker can do the work: its versions, and frames read as a trial.

    Returns
    -------
    str or None
        What is wrong.
    """
    other = differences(versions(), place.versions)
    if other:
        return f"has {', '.join(other)}"
    said = None
    for path in paths:
        try:
            place.frames.read(path)
            return None
        except LapsekitError as error:
            said = f"cannot read frames: {error}"
    return said


def looked_at_batch(place: Place, files: Files) -> list[Content | str]:
    """What is in frame files, in order."""
    _require_same(place)
    return list(looked_at(place.frames.read, files.paths))


def measured_batch(job: Job, batch: Batch) -> list[Found]:
    """Measure the wanted frames of a batch, as `Ruler.measure` does on the season's machine."""
    _require_same(job.place)
    cv2.setNumThreads(1)
    covers = _Covers()
    ruler = Ruler(Bench(job, batch), job.known, covers)
    ruler.prepare(list(batch.wanted))
    return [
        Found(frame, ruler.measure(frame), covers.of.get(PurePosixPath(frame.path).stem))
        for frame in batch.wanted
    ]


def _require_same(place: Place) -> None:
    """Refuse to give numbers that others would not: a worker may have come late."""
    other = differences(versions(), place.versions)
    if other:
        raise ClusterError(f"has {', '.join(other)}")


class _Covers:
    """Keeps covers, encoded, until they are sent; stands for `Shapes`."""

    def __init__(self) -> None:
        self.of: dict[str, Cover] = {}

    def keep_cover(self, camera: str, day: date, frame: str, mark: str, cover: np.ndarray) -> None:
        self.of[frame] = camera, day, frame, mark, encode_grey(cover)
