"""A film in pieces: each is encoded once, named by what it shows, and joined to the others later.

A piece begins with a picture that needs none before it and ends with one that needs none after, so
that pieces can be joined as they are. Whatever ends the process, those that are done stay.
"""

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np

from lapsekit.compute import spread
from lapsekit.errors import FilmError
from lapsekit.film.encoding import ENCODER_THREADS, Recipe, encode
from lapsekit.memory import give_back
from lapsekit.progress import Track, silent
from lapsekit.safely import remove_leftovers, write_safely

#: What is kept of each picture of a segment lies beside it.
VIEWS = ".npy"
#: What looking at the film's flashes came to lies beside all of them.
LOOKED_AT = "looked-at.npz"


@dataclass(frozen=True)
class Job:
    """A segment to be made.

    Attributes
    ----------
    key : str
        Says all that its pictures depend on; equal keys, equal pictures.
    count : int
        How many pictures it has.
    pictures : callable
        Gives them, RGB uint8 of shape (height, width, 3); called on a thread of its own, and only
        if the segment is not there yet.
    """

    key: str
    count: int
    pictures: Callable[[], Iterable[np.ndarray]]


@dataclass(frozen=True)
class Segment:
    """A segment that lies in its folder, and how many pictures it has."""

    path: Path
    count: int

    @property
    def views_path(self) -> Path:
        """Where what is kept of its pictures lies."""
        return self.path.with_suffix(VIEWS)

    def views(self) -> np.ndarray:
        """What was kept of each of its pictures, first axis along the pictures.

        Raises
        ------
        FilmError
            If nothing was, or it cannot be read.
        """
        try:
            return np.load(self.views_path)
        except (OSError, ValueError) as error:
            raise FilmError(
                f"{self.views_path}: cannot be read ({error}); delete the folder it lies in, then "
                "film again"
            ) from error


def make_segments(
    folder: Path,
    jobs: Sequence[Job],
    recipe: Recipe,
    frames_per_second: int,
    *,
    view: Callable[[np.ndarray], np.ndarray] | None = None,
    workers: int | None = None,
    track: Track = silent,
) -> list[Segment]:
    """Encode the segments that are not there yet.

    Parameters
    ----------
    folder : pathlib.Path
        A folder of this film alone; made if needed. The caller alone writes there.
    jobs : sequence of Job
        In the film's order.
    recipe : Recipe
    frames_per_second : int
    view : callable, optional
        What to keep of each picture beside its segment, for looking at the whole film later
        without decoding it: arrays of one shape.
    workers : int, optional
        How many cores to use, all by default; half as many are encoded at once. The files do
        not depend on it.
    track : Track
        Told about segments that are made.

    Returns
    -------
    list of Segment
        One a job, in order; the same one twice where two jobs have one key.

    Raises
    ------
    FilmError
        If one cannot be made; those made before stay.
    """
    folder.mkdir(parents=True, exist_ok=True)
    remove_leftovers(folder)
    segments = [Segment(_path(folder, job, recipe, frames_per_second), job.count) for job in jobs]
    missing = {
        segment.path: (job, segment)
        for job, segment in zip(jobs, segments, strict=True)
        if not _there(segment, view is not None)
    }

    def make(item: tuple[Job, Segment]) -> None:
        _make(*item, recipe, frames_per_second, view)

    encoders = max(1, (workers or os.cpu_count() or 1) // ENCODER_THREADS)
    encoders = min(encoders, recipe.at_once or encoders)
    for _ in track(spread(make, missing.values(), encoders), len(missing), "filming"):
        pass
    return segments


def prune(folder: Path, keep: Iterable[Segment]) -> int:
    """Delete all segments of a film that it no longer shows; call it once the film is joined.

    Parameters
    ----------
    folder : pathlib.Path
        The folder given to `make_segments`.
    keep : iterable of Segment

    Returns
    -------
    int
        How many files went.
    """
    kept = {path for each in keep for path in (each.path, each.views_path)} | {folder / LOOKED_AT}
    gone = [file for file in folder.iterdir() if file.is_file() and file not in kept]
    for file in gone:
        file.unlink(missing_ok=True)
    return len(gone)


def _path(folder: Path, job: Job, recipe: Recipe, frames_per_second: int) -> Path:
    whole = repr((job.key, job.count, recipe.mark, frames_per_second))
    return folder / f"{hashlib.sha256(whole.encode()).hexdigest()[:32]}.{recipe.ending}"


def _there(segment: Segment, with_views: bool) -> bool:
    return segment.path.exists() and (not with_views or segment.views_path.exists())


def _make(
    job: Job,
    segment: Segment,
    recipe: Recipe,
    frames_per_second: int,
    view: Callable[[np.ndarray], np.ndarray] | None,
) -> None:
    views: list[np.ndarray] = []
    look = None if view is None else lambda picture: views.append(view(picture))

    def pictures() -> Iterator[np.ndarray]:
        count = 0
        for count, picture in enumerate(job.pictures(), start=1):  # noqa: B007
            yield picture
        if count != job.count:
            raise FilmError(
                f"{segment.path}: {count} pictures came for a part of a film of {job.count}"
            )
        # Before the segment takes its name, so that one without its views is none.
        if views:
            write_safely(segment.views_path, _saved(views))

    encode(segment.path, pictures(), recipe, frames_per_second, look)
    give_back()


def _saved(views: list[np.ndarray]) -> bytes:
    buffer = BytesIO()
    np.save(buffer, np.stack(views))
    return buffer.getvalue()
