"""Stage: a season's frames and own texts -> a place elsewhere, verified, nothing ever lost there.

A frame is sent once, and its content compared at the far side before copied.csv says that it is
there. What replaces another content there leaves that in ``before/``. It can be stopped anywhere.
"""

import tempfile
import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from lapsekit.copied import Copied, note_copied, read_copied, rewrite_copied
from lapsekit.copying import lists
from lapsekit.copying.belongings import TEXTS, is_frame, own_frames, own_texts
from lapsekit.copying.erasing import states_here, to_erase
from lapsekit.copying.far import MARKER, arrive, given_up, put, read_lists, require_apart, send_list
from lapsekit.copying.report import CopyReport
from lapsekit.copying.verifying import Checked, check_batch
from lapsekit.errors import CatalogueError
from lapsekit.followers.gone import gone_ids
from lapsekit.followers.records import FOLDER as FOLLOWERS
from lapsekit.frames.archive import content_hash
from lapsekit.places import Place, open_place
from lapsekit.places.trying import Tries, batches, most_bytes
from lapsekit.progress import Track, silent
from lapsekit.season import Season

UNDER_WAY = ".copy-under-way"
"""In the season folder while a copy runs, and until one ends that nothing interrupted."""

_USUAL_BYTES = 4_000_000  # of a frame that is no longer here


def copy(
    season: Season,
    *,
    dry_run: bool = False,
    verify: bool = False,
    new_place: bool = False,
    track: Track = silent,
    wait: Callable[[float], None] = time.sleep,
    tell: Callable[[str], None] = lambda _: None,
) -> CopyReport:
    """Copy what is not copied yet to where ``[copies]`` says.

    Parameters
    ----------
    season : Season
        The caller holds its lock for copies; other stages may work meanwhile.
    dry_run : bool
        Find out what waits, and do nothing.
    verify : bool
        Compare all that was copied before, not only what is missing there or has another size;
        what is damaged or missing is struck from copied.csv, and sent again.
    new_place : bool
        Begin at a place that is empty although there are copies elsewhere.
    track : Track
        Told about progress.
    wait, tell : callable
        Wait between attempts, told how many seconds; told in words of an attempt that failed.

    Raises
    ------
    NotTrusted
        If the season folder is not trusted.
    SettingsError
        If ``[copies]`` is missing or cannot be, or its password cannot be read.
    CopyError
        If something else lies there, or all attempts failed; the next copy goes on from there.
    """
    require_apart(season.settings, season.folder)
    tries = Tries(wait, tell, given_up)
    place = tries(lambda: open_place(season.settings.copies, season.folder))
    report = CopyReport(str(place), failed=tries.failed)
    is_known = arrive(season, place, tries, new_place, dry_run)
    report.caution = _same_disk(season)
    work = _Copying(season, place, tries, report, read_copied(season.folder) if is_known else {})
    if dry_run:
        amiss = set(work.amiss())
        waiting = work.waiting(amiss)
        report.waiting, report.there = len(waiting), len(work.frames) - len(amiss)
        report.size = sum(map(work.size, waiting))
        return report
    under_way = season.folder / UNDER_WAY
    if under_way.exists():
        work.tidy()
    under_way.touch()
    work.verify(work.frames if verify else work.amiss(), verify, track)
    work.copy_texts(everything=verify)
    work.erase_followers()
    work.copy_frames(track)
    rewrite_copied(season.folder, work.record.values())  # one line a file again
    report.there = sum(map(is_frame, work.record))
    if not report.failed:
        under_way.unlink()
    return report


def _same_disk(season: Season) -> str:
    model = season.settings.copies
    folder = season.folder / Path(str(model.target)).expanduser()
    if model.to != "folder" or not folder.exists():
        return ""
    if folder.stat().st_dev != season.folder.stat().st_dev:
        return ""
    return f"{folder} lies on the same disk as the season: if that fails, both are gone"


class _Copying:
    """One run of `copy`."""

    def __init__(
        self,
        season: Season,
        place: Place,
        tries: Tries,
        report: CopyReport,
        record: dict[str, Copied],
    ):
        self.season, self.place, self.tries, self.report = season, place, tries, report
        self.folder, self.record = season.folder, record
        self.texts = own_texts(self.folder, season.settings)
        self.most = most_bytes(season.settings.copies)
        self.stamp = f"{season.clock():%Y%m%dT%H%M%SZ}"

    def size(self, path: str) -> int:
        """Bytes of a file."""
        try:
            return (self.folder / path).stat().st_size
        except OSError:
            return _USUAL_BYTES

    @property
    def frames(self) -> list[str]:
        """Frames that copied.csv holds."""
        return list(filter(is_frame, self.record))

    def waiting(self, amiss: Collection[str] = ()) -> list[str]:
        """Frames that copied.csv does not hold, or that are not there although it does."""
        mine = own_frames(self.folder)
        return [path for path in mine if path not in self.record or path in amiss]

    def amiss(self) -> list[str]:
        """Frames of copied.csv that are missing there, or have another size than here.

        It takes lists of folders and reads no frame; of one that is gone here, no size is known.
        """
        frames = self.frames
        there = self.tries(lambda: self.place.sizes(frames)) if frames else {}
        return [path for path in frames if path not in there or self._differs(path, there[path])]

    def _differs(self, path: str, size: int | None) -> bool:
        file = self.folder / path
        return size is not None and file.is_file() and file.stat().st_size != size

    def _note(self, hashes: Mapping[str, str]) -> None:
        now = self.season.clock()
        rows = [Copied(path, sha256, now) for path, sha256 in hashes.items()]
        note_copied(self.folder, rows)
        self.record |= {row.path: row for row in rows}

    def tidy(self) -> None:
        """Delete halves that a copy which was cut off left there."""
        self.tries(lambda: self.place.tidy({*self.waiting(), *self.texts, MARKER}))

    def verify(self, frames: Sequence[str], everything: bool, track: Track) -> None:
        """Compare frames that copied.csv holds; strike those that are not there whole."""
        parts = list(batches(frames, self.size, self.most))
        for batch in track(parts, len(parts), "comparing"):
            found = self.tries(lambda batch=batch: self._checked(batch))
            self.report.checked += len(batch) if everything else 0
            self.report.damaged_here += found.damaged_here
            self.report.lost += found.lost
            self.report.repaired += found.damaged_there
            for path in (*found.damaged_there, *found.lost):
                del self.record[path]
            if found.damaged_there or found.lost:
                rewrite_copied(self.folder, self.record.values())
            self._note({path: self.record[path].sha256 for path in found.whole})
        if frames or everything:
            self._mend_lists()

    def _mend_lists(self) -> None:
        """List anew what a damaged list held."""
        found = read_lists(self.place, self.tries)
        if found.damaged:
            self.tries(lambda: self.place.remove(found.damaged))
            self.report.repaired += found.damaged
        unlisted = (path for path in self.record if is_frame(path) and path not in found.frames)
        known = {p: lists.Known(self.record[p].sha256, self.size(p)) for p in unlisted}
        if known:
            content = lists.packed(known)
            send_list(self.place, self.tries, lists.frames_list(content), content)

    def _checked(self, batch: Sequence[str]) -> Checked:
        return check_batch(self.place, self.folder, {p: self.record[p].sha256 for p in batch})

    def copy_texts(self, everything: bool) -> None:
        """Copy texts as they are at this moment, after a list of them."""
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
            now = self._snapshot(Path(scratch), everything)
            self._list_texts(now)
            paths = [path for path in now if Path(scratch, path).exists()]
            for batch in batches(paths, lambda path: now[path].size, self.most):
                sent = self.tries(lambda batch=batch: self._put(Path(scratch), batch))
                self.report.texts += len(sent)
                self.report.size += sum(now[path].size for path in sent)
                self._note({path: now[path].sha256 for path in batch})

    def _snapshot(self, scratch: Path, everything: bool) -> dict[str, lists.Known]:
        """Texts by path; those to be compared are written into `scratch`."""
        now = {}
        for path in self.texts:
            with suppress(FileNotFoundError):  # moved meanwhile
                content = (self.folder / path).read_bytes()
                now[path] = lists.Known(content_hash(content), len(content))
                known = self.record.get(path)
                if everything or path in TEXTS or not known or known.sha256 != now[path].sha256:
                    (scratch / path).parent.mkdir(parents=True, exist_ok=True)
                    (scratch / path).write_bytes(content)
        return now

    def _list_texts(self, now: lists.Files) -> None:
        content = lists.packed(now)
        last = lists.last_texts(self.tries(lambda: self.place.listed(lists.LISTS)))
        if not lists.is_last(content, last):
            name = lists.texts_list(content, last[0] + 1)
            send_list(self.place, self.tries, name, content)

    def erase_followers(self) -> None:
        """Delete there what followers had taken down, once the last list no longer names it."""
        if not (self.folder / FOLLOWERS).is_dir():
            return
        there = self.tries(lambda: self.place.listed(FOLLOWERS))
        gone = gone_ids(self.folder)
        names = to_erase(there, gone, states_here(self.texts))
        if names:
            self.tries(lambda: self.place.remove(names))
            self.report.erased += names
        for path in {*names, *to_erase(self.record, gone, states_here(self.texts))}:
            self.record.pop(path, None)

    def copy_frames(self, track: Track) -> None:
        """Copy frames that copied.csv does not hold."""
        parts = list(batches(self.waiting(), self.size, self.most))
        for batch in track(parts, len(parts), "copying"):
            self._copy_batch(batch)

    def _copy_batch(self, batch: Iterable[str]) -> None:
        now = self._sound(batch)
        if not now:
            return
        sent = self.tries(lambda: self._put(self.folder, self._still_here(now)))
        now = {path: now[path] for path in self._still_here(now)}
        content = lists.packed(now)
        send_list(self.place, self.tries, lists.frames_list(content), content)
        self._note({path: known.sha256 for path, known in now.items()})
        self.report.frames += len(now)
        self.report.size += sum(now[path].size for path in sent if path in now)

    def _still_here(self, paths: Iterable[str]) -> list[str]:
        return [path for path in paths if (self.folder / path).is_file()]

    def _sound(self, batch: Iterable[str]) -> dict[str, lists.Known]:
        """Those frames that are what they were when they were taken."""
        now, batch = {}, list(batch)
        expected = _catalogued(self.season, batch)
        expected |= {path: self.record[path].sha256 for path in batch if path in self.record}
        for path in self._still_here(batch):
            content = (self.folder / path).read_bytes()
            sha256 = content_hash(content)
            if expected.get(path, sha256) == sha256:
                now[path] = lists.Known(sha256, len(content))
            elif path not in self.report.damaged_here:
                self.report.damaged_here.append(path)
        return now

    def _put(self, root: Path, names: Sequence[str]) -> list[str]:
        return put(self.place, root, names, self.stamp, self.report.kept.append)


def _catalogued(season: Season, paths: Iterable[str]) -> dict[str, str]:
    """Hashes that frames had when they were filed; none where the catalogue cannot say."""
    try:
        return {frame.path: frame.sha256 for frame in season.catalogue.frames_at(paths)}
    except CatalogueError:
        return {}
