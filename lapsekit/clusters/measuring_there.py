"""Frames measured on a cluster: planned by camera and day, put down as Parquet, merged in order."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import date
from itertools import groupby, pairwise

from lapsekit.catalogue import Frame
from lapsekit.clusters.day_tables import DayTables
from lapsekit.clusters.job import Batch, Place, job_of
from lapsekit.clusters.spreading import Machines
from lapsekit.clusters.versions import versions
from lapsekit.clusters.work import Files, Found, look_around, looked_at_batch, measured_batch
from lapsekit.errors import ClusterError, SettingsError
from lapsekit.frames.far import FarArchive, FarFrames
from lapsekit.frames.indexing import Content, looked_at
from lapsekit.ruler import Rows, Ruler
from lapsekit.season import Season

LEAST_FRAMES, MOST_FRAMES, TASKS_A_THREAD = 4, 32, 4
"""Frames of a task: few where there are few, so that all workers have some; as many as keep what a
task costs beside them small where there are many."""

Key = tuple[str, date]
"""Camera and day."""


class MeasuringThere:
    """Frames looked at and measured on a cluster; stands for `lapsekit.measuring.Elsewhere`.

    Parameters
    ----------
    machines : Machines
    frames_at : str, optional
        Where workers find the season's frames; where the season has them by default.

    Attributes
    ----------
    taken : int
        Frames taken out of tables that an earlier run had finished.
    """

    def __init__(self, machines: Machines, frames_at: str | None = None):
        self.machines = machines
        self.taken = 0
        self._frames_at = frames_at

    def looked_at(self, season: Season, paths: list[str]) -> Iterator[Content | str]:
        """What is in new frame files, in order; workers look where frames lie elsewhere.

        Raises
        ------
        ClusterError
            As `measured`.
        """
        if not isinstance(season.archive, FarArchive) or not paths:
            yield from looked_at(season.archive.read, paths)
            return
        place = Place(season.archive.frames, versions())
        self._prepare(season, place, paths)
        size = self._frames_a_task(len(paths))
        together = [Files(tuple(paths[n : n + size])) for n in range(0, len(paths), size)]
        found: dict[Files, list[Content | str]] = {}
        results = self.machines.spread(looked_at_batch, place, together)
        with closing(results):
            for files in together:
                while files not in found:
                    done, contents = next(results)
                    found[done] = contents
                yield from found.pop(files)

    def measured(self, ruler: Ruler, frames: list[Frame]) -> Iterator[Rows | str]:
        """Rows of frames, in order, as `Ruler.measure` gives them; their covers are kept.

        Raises
        ------
        ClusterError
            If workers have other versions, cannot read the frames, or are lost for good.
        SettingsError
            If the access to frames would be sent where others can read it.
        """
        if not frames:
            return
        place = Place(self._place(ruler.season), versions())
        self._prepare(ruler.season, place, [f.path for f in frames])
        job = job_of(ruler, sorted({frame.camera for frame in frames}), place)
        run = _Run(ruler, frames, self._frames_a_task(len(frames)))
        results = self.machines.spread(measured_batch, job, run.batches())
        with closing(results):
            for key in run.days:
                while not run.is_finished(key) and (each := next(results, None)):
                    run.put(*each)
                yield from run.rows(key)
        self.taken = run.taken

    def _place(self, season: Season) -> FarFrames:
        if self._frames_at is not None:
            return season.frames_at(self._frames_at)
        if isinstance(season.archive, FarArchive):
            return season.archive.frames
        return FarFrames.of_folder(season.folder)

    def _prepare(self, season: Season, place: Place, paths: Sequence[str]) -> None:
        """Ask workers whether they can do it, before they are given anything to do."""
        if place.frames.options and not self.machines.is_private:
            raise SettingsError(
                f"{season.folder}: what is in frames.access_file is not sent to "
                f"{self.machines.address}, where it could be read on the way: speak to the cluster "
                "over tls://, or give its workers their own access and take access_file out"
            )
        some = [paths[0], paths[len(paths) // 2], paths[-1]]
        self.machines.ask(look_around, place, list(dict.fromkeys(some)))

    def _frames_a_task(self, frames: int) -> int:
        wanted = -(-frames // (TASKS_A_THREAD * max(1, self.machines.threads())))
        return min(MOST_FRAMES, max(LEAST_FRAMES, wanted))


class _Run:
    """How far the days of one run are; it holds the rows of days that are under way, no others."""

    def __init__(self, ruler: Ruler, frames: Sequence[Frame], frames_a_task: int):
        self.days: dict[Key, list[Frame]] = {
            key: list(of_day) for key, of_day in groupby(frames, lambda f: (f.camera, f.day))
        }
        self.taken = 0
        self._ruler, self._size = ruler, frames_a_task
        self._tables = DayTables(ruler.season.folder)
        self._waiting: dict[Key, int] = {}  # frames, of days that are planned
        self._rows: dict[Key, dict[str, tuple[str, Rows]]] = {}
        self._failed: dict[str, str] = {}

    def batches(self) -> Iterator[Batch]:
        """What is to be measured, in order; of each day what no finished table holds."""
        for key, wanted in self.days.items():
            of_day = self._ruler.season.catalogue.frames(*key)
            known = self._known(key, of_day)
            missing = [frame for frame in wanted if frame.path not in known]
            self.taken += len(wanted) - len(missing)
            self._waiting[key] = len(missing)
            if missing:
                self._rows[key] = known
            parts = -(-len(missing) // self._size)
            ends = [len(missing) * part // parts for part in range(parts + 1)] if parts else []
            for first, end in pairwise(ends):
                yield Batch(*key, tuple(of_day), tuple(missing[first:end]))

    def put(self, batch: Batch, found: Sequence[Found]) -> None:
        """Take in what a worker sent; covers first, so that a table never stands for lost ones."""
        key = batch.camera, batch.day
        for each in found:
            if isinstance(each.rows, str):
                self._failed[each.frame.path] = each.rows
                continue
            if not self._ruler.is_done(each.frame, each.rows):
                raise ClusterError(
                    f"{each.frame.path}: a worker measured it by other settings than today's; "
                    "nothing of it was stored"
                )
            if each.cover is not None:
                self._ruler.shapes.keep_encoded_cover(*each.cover)
            self._rows[key][each.frame.path] = each.frame.sha256, each.rows
        self._waiting[key] -= len(found)
        if self.is_finished(key):
            self._tables.write(*key, self._rows.pop(key))

    def is_finished(self, key: Key) -> bool:
        """Whether nothing of a day is under way, or still to be planned."""
        return self._waiting.get(key) == 0

    def rows(self, key: Key) -> Iterator[Rows | str]:
        """Rows of a finished day's frames, in order, out of its table."""
        known = self._tables.read(*key)
        for frame in self.days[key]:
            failed = self._failed.pop(frame.path, None)
            yield known[frame.path][1] if failed is None else failed

    def _known(self, key: Key, of_day: Sequence[Frame]) -> dict[str, tuple[str, Rows]]:
        """What a day's table holds of these very frames, by today's settings."""
        table = self._tables.read(*key)
        return {
            frame.path: table[frame.path]
            for frame in of_day
            if frame.path in table
            and table[frame.path][0] == frame.sha256
            and self._ruler.is_done(frame, table[frame.path][1])
        }
