"""Stage: copies elsewhere -> a season folder, every file checked against the lists beside them."""

import os
import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.copied import Copied, note_copied
from lapsekit.copying import lists
from lapsekit.copying.belongings import is_frame
from lapsekit.copying.far import COPIED_TO, marker_at, read_lists
from lapsekit.errors import CopyError
from lapsekit.followers.gone import gone_ids
from lapsekit.followers.records import FOLDER as FOLLOWERS
from lapsekit.frames.archive import content_hash
from lapsekit.frames.indexing import IndexReport
from lapsekit.frames.names import FRAMES
from lapsekit.places import Place, open_given_place, open_place
from lapsekit.places.trying import Tries, batches, most_bytes
from lapsekit.progress import Track, silent
from lapsekit.safely import leads_out, write_safely
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.settings import CopiesTable
from lapsekit.when import Clock, system_clock

WORK = ".restoring"
"""In the folder, until everything has come back: whose copies they are, and what is on its way."""

_OF, _BATCH = "of.txt", "batch"
_SPARE_BYTES = 50e6
_USUAL_BYTES = 4_000_000


@dataclass
class RestoreReport:
    """What came back.

    Attributes
    ----------
    place : str
    folder : pathlib.Path
    frames, texts, size : int
        Files that came back whole, and their bytes.
    were_there : int
        Files that an attempt before had brought.
    missing, damaged : list of str
        Files of the lists that did not come back, or with another content; left out.
    unlisted : list of str
        Frames that are in no list, since a copy was cut off; brought back unchecked.
    outdated : list of str
        Texts as they were before the last copy, which was cut off before it changed them.
    in_the_way : list of str
        Files of the folder that hold something else; left as they are.
    damaged_lists : list of str
    listed : list of str
        All frames of the lists.
    indexed : IndexReport or None
    """

    place: str
    folder: Path
    frames: int = 0
    texts: int = 0
    size: int = 0
    were_there: int = 0
    missing: list[str] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)
    unlisted: list[str] = field(default_factory=list)
    outdated: list[str] = field(default_factory=list)
    in_the_way: list[str] = field(default_factory=list)
    damaged_lists: list[str] = field(default_factory=list)
    listed: list[str] = field(default_factory=list)
    indexed: IndexReport | None = None

    @property
    def is_whole(self) -> bool:
        """Whether everything came back that was copied."""
        return not (self.missing or self.damaged or self.in_the_way or self.damaged_lists)


def restore(
    model: CopiesTable,
    folder: Path,
    *,
    source: Path | None = None,
    earlier: bool = False,
    chosen: Callable[[list[str]], list[str]] = lambda frames: frames,
    clock: Clock = system_clock,
    track: Track = silent,
    wait: Callable[[float], None] = time.sleep,
    tell: Callable[[str], None] = lambda _: None,
) -> RestoreReport:
    """Bring a season back into an empty folder.

    Parameters
    ----------
    model : CopiesTable
        Where the copies are.
    folder : pathlib.Path
        Where to: a new folder, an empty one, or one that an attempt before was cut off in.
    source : pathlib.Path, optional
        The season folder that `model` was read from, which has to be trusted. Without it `model`
        is what somebody gave on the command line.
    earlier : bool
        Bring the earlier versions of texts too, into ``before``.
    chosen : callable
        Which of the frames that are listed shall come back; all, unless it is a drill.
    clock : Clock
    track : Track
    wait, tell : callable
        Wait between attempts, told how many seconds; told in words of an attempt that failed.

    Raises
    ------
    NotTrusted
        If `source` is not trusted.
    SettingsError
        If `model` names no place, or the password cannot be read.
    CopyError
        If the folder holds something else, there is no room, there are no copies, the password is
        wrong, or all attempts failed; the same again goes on from there.
    """
    _require_own(folder)
    tries = Tries(wait, tell, _given_up)
    place = tries(lambda: _place(model, folder, source))
    marker = marker_at(place, tries, model)
    if marker is None:
        raise CopyError(f"{place}: there are no copies; check the target")
    line = "{} {}\n".format(*marker)
    _require_same(folder, line)
    report = RestoreReport(str(place), folder)
    work = _Restoring(place, folder, tries, report, model, clock)
    found = read_lists(place, tries)
    report.damaged_lists, report.listed = found.damaged, sorted(found.frames)
    work.bring(found, chosen, earlier, track)
    _erase_followers(folder, source)
    write_safely(folder / COPIED_TO, line.encode())
    if (folder / SETTINGS_FILE).is_file():
        season = Season(folder, clock)
        report.indexed = season.index(track=track)
        season.catalogue.close()
    shutil.rmtree(folder / WORK / _BATCH, ignore_errors=True)
    if report.is_whole:
        (folder / WORK / _OF).unlink()
        (folder / WORK).rmdir()
    return report


def _erase_followers(folder: Path, source: Path | None) -> None:
    """Delete what followers had taken down, as far as anybody here knows, if it came back."""
    gone = gone_ids(folder) | (gone_ids(source) if source is not None else set())
    for pattern in (f"{FOLLOWERS}/*/*", f"{lists.BEFORE}/*/{FOLLOWERS}/*/*"):
        for path in sorted(folder.glob(pattern)):
            if path.name in gone and path.is_dir():
                shutil.rmtree(path)


def _place(model: CopiesTable, folder: Path, source: Path | None) -> Place:
    if source is None:
        return open_given_place(model, folder)
    return open_place(model, source, folder)


def _given_up(words: str) -> CopyError:
    return CopyError(f"{words}; the same command again goes on from what is here)")


def _require_own(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise CopyError(f"{folder}: is a file; name a new folder")
    held = {file.name for file in folder.iterdir()} if folder.exists() else set()
    if held - {WORK} and not (folder / WORK / _OF).is_file():
        raise CopyError(f"{folder} exists and is not empty; name a new folder")


def _require_same(folder: Path, line: str) -> None:
    """Note whose copies come here, and refuse to mix them with another's."""
    of = folder / WORK / _OF
    if of.is_file() and of.read_text() != line:
        raise CopyError(f"{folder}: other copies were being restored there; name a new folder")
    of.parent.mkdir(parents=True, exist_ok=True)
    write_safely(of, line.encode())


class _Restoring:
    """One run of `restore`."""

    def __init__(
        self,
        place: Place,
        folder: Path,
        tries: Tries,
        report: RestoreReport,
        model: CopiesTable,
        clock: Clock,
    ):
        self.place, self.folder, self.tries, self.report = place, folder, tries, report
        self.most, self.clock = most_bytes(model), clock

    def _fetched(self, names: Sequence[str]) -> Path:
        """A folder of these files, as far as they came."""
        batch = self.folder / WORK / _BATCH

        def fetch() -> None:
            shutil.rmtree(batch, ignore_errors=True)
            batch.mkdir(parents=True)
            self.place.fetch(names, batch)

        self.tries(fetch)
        return batch

    def bring(
        self,
        found: lists.Found,
        chosen: Callable[[list[str]], list[str]],
        earlier: bool,
        track: Track,
    ) -> None:
        """Frames first, texts last, so that half a season is not taken for a whole one."""
        there = self._listed(FRAMES)
        self.report.missing += sorted(found.frames.keys() - set(there))
        frames = chosen([path for path in sorted(found.frames) if path in set(there)])
        self.report.unlisted = [p for p in chosen(there) if p not in found.frames]
        before = self._listed(lists.BEFORE) if earlier else []
        hashes = {path: {found.frames[path].sha256} for path in frames}
        hashes |= {path: found.earlier[path] for path in found.texts}
        sizes = {path: known.size for path, known in (found.frames | found.texts).items()}
        waiting = [*frames, *self.report.unlisted, *before, *_settings_last(found.texts)]
        waiting = [path for path in waiting if not self._is_here(path, hashes)]
        self._require_room(sum(sizes.get(path, _USUAL_BYTES) for path in waiting))
        parts = list(batches(waiting, lambda path: sizes.get(path, _USUAL_BYTES), self.most))
        for batch in track(parts, len(parts), "restoring"):
            self._bring_batch(batch, hashes)
        self._note_outdated(found)

    def _listed(self, folder: str) -> list[str]:
        return [n for n in self.tries(lambda: self.place.listed(folder)) if not leads_out(n)]

    def _is_here(self, path: str, hashes: Mapping[str, set[str]]) -> bool:
        file = self.folder / path
        if not file.exists():
            return False
        if path in hashes and content_hash(file.read_bytes()) not in hashes[path]:
            self.report.in_the_way.append(path)
        self.report.were_there += 1
        return True

    def _require_room(self, size: float) -> None:
        free = shutil.disk_usage(self.folder).free
        if size + _SPARE_BYTES > free:
            raise CopyError(
                f"{self.folder}: {size / 1e6:.0f} MB have to come, {free / 1e6:.0f} MB are free; "
                "make room, or name a folder on another disk"
            )

    def _bring_batch(self, batch: Sequence[str], hashes: Mapping[str, set[str]]) -> None:
        came, rows, now = self._fetched(batch), [], self.clock()
        for path in batch:
            file = came / path
            if not file.is_file():
                self.report.missing.append(path)
                continue
            sha256 = content_hash(file.read_bytes())
            if sha256 not in hashes.get(path, {sha256}):
                self.report.damaged.append(path)
                continue
            self._settle(file, path)
            if path in hashes:
                rows.append(Copied(path, sha256, now))
        os.sync()
        note_copied(self.folder, rows)

    def _settle(self, file: Path, path: str) -> None:
        """Move a file to its place; count it."""
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        with file.open("rb") as opened:
            os.fsync(opened.fileno())
        self.report.size += file.stat().st_size
        file.rename(target)
        if is_frame(path):
            self.report.frames += 1
        else:
            self.report.texts += 1

    def _note_outdated(self, found: lists.Found) -> None:
        for path, known in found.texts.items():
            file = self.folder / path
            if file.is_file() and content_hash(file.read_bytes()) != known.sha256:
                self.report.outdated.append(path)


def _settings_last(texts: Mapping[str, lists.Known]) -> list[str]:
    return sorted(texts, key=lambda path: (path == SETTINGS_FILE, path))
