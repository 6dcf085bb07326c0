"""Stage: a cut of the season -> its film.

What a cut shows is planned anew each time, which is quick; what it painted and encoded before is
kept in parts, each named by all that its pictures depend on. So a film that has grown by a day
encodes that day, and one that was cut off goes on where it was.
"""

import hashlib
import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from lapsekit.errors import FilmError
from lapsekit.film.calm import flashes_of
from lapsekit.film.composing import Composition, composed
from lapsekit.film.encoding import ENCODER_THREADS, Recipe, recipe_named
from lapsekit.film.exports import (
    TEASER_CALM_PER_SECOND,
    TEASER_PER_SECOND,
    write_beside,
    write_stills,
    write_teaser,
)
from lapsekit.film.hardware import hardware_recipe
from lapsekit.film.joining import join
from lapsekit.film.naming import cut_of, stem_of
from lapsekit.film.painting import Unreadable
from lapsekit.film.records import FilmRecord, Films
from lapsekit.film.segments import Job, Segment, make_segments, prune
from lapsekit.film.sources import earlier_of
from lapsekit.film.tracks import CAPTIONS, CHAPTERS, POSTER
from lapsekit.language.words import Words
from lapsekit.memory import Need, at_once
from lapsekit.progress import Track, silent
from lapsekit.safely import remove_leftovers
from lapsekit.season import OWN_WORDS, Season
from lapsekit.settings import Cut
from lapsekit.vision.flashes import flash_view, flashes

PARTS = ".parts"
_HELD_MB, _EACH_MB_A_MEGAPIXEL = 240, 90
PREVIEW_PX, PREVIEW_FPS = 270, 12


@dataclass(frozen=True)
class FilmReport:
    """What was made.

    Attributes
    ----------
    cut : str
        Its name.
    path : pathlib.Path
        The film for the web.
    frames, pictures : int
        How many frames of the season it shows, and how many pictures it has.
    seconds : float
        How long it lasts.
    made : bool
        Whether it was put together now; else it was there.
    encoded : int
        How many of its pictures were encoded now.
    files : list of pathlib.Path
        What was made beside it.
    left_out : list of str
        Frames that are not in it, and why.
    untold : list of str
        Lines of the diary for which it has no time.
    """

    cut: str
    path: Path
    frames: int
    pictures: int
    seconds: float
    made: bool
    encoded: int = 0
    files: list[Path] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    untold: list[str] = field(default_factory=list)


def make_film(
    season: Season,
    name: str = "season",
    said: Mapping[str, Any] | None = None,
    *,
    preview: bool = False,
    workers: int | None = None,
    track: Track = silent,
) -> FilmReport:
    """Make a cut's film, as far as it is not there already.

    Parameters
    ----------
    season : Season
        An open season with screened frames; the caller holds its stage lock.
    name : str
        A cut of season.toml, or of those that need no line there; with `said` that gives a
        kind, a new one.
    said : mapping of str to value, optional
        Keys of `Cut` that stand above season.toml.
    preview : bool
        Small and soon, as ``NAME.preview``; nothing else is touched.
    workers : int, optional
        How many cores to use; by default all, as far as memory goes.
    track : Track
        Told about progress.

    Returns
    -------
    FilmReport

    Raises
    ------
    FilmError
        If the cut is unknown or cannot be, has nothing to show, or would flash more than three
        times a second. A film made before stays as it was.
    """
    said = dict(said or {})
    cut = cut_of(season, name, said)
    stem = stem_of(season, name, cut, said)
    if preview:
        px = min(PREVIEW_PX, cut.short_side_px)
        small = {"short_side_px": px, "frames_per_second": PREVIEW_FPS, "files": ()}
        cut, stem = cut.model_copy(update=small), f"{stem}.preview"
    season.films.mkdir(exist_ok=True)
    remove_leftovers(season.films)
    unreadable: dict[tuple[Path, str], str] = {}
    with earlier_of(season, cut) as earlier:
        while True:
            maker = _Maker(season, name, cut, stem, unreadable, workers, track, earlier)
            try:
                return maker.made(preview)
            except Unreadable as found:
                unreadable[found.folder, found.path] = found.why


@dataclass
class _Maker:
    """One run of one cut."""

    season: Season
    name: str
    cut: Cut
    stem: str
    unreadable: Mapping[tuple[Path, str], str]
    workers: int | None
    track: Track
    earlier: Season | None

    @property
    def films(self) -> Films:
        """The season's films."""
        return Films(self.season)

    def made(self, preview: bool) -> FilmReport:
        """Everything that is asked for, made as far as it is not there."""
        words = Words(self.season.settings.site.language, [self.season.folder / OWN_WORDS])
        before = self.films.record(self.stem)
        shown = composed(
            self.season,
            self.cut,
            words,
            before,
            self.unreadable,
            self.workers,
            self.track,
            self.earlier,
        )
        recipe = self._recipe(shown, preview)
        target = self.films.folder / f"{self.stem}.{recipe.ending}"
        encoded, segments = self._encode(shown, recipe, self.stem, look=True)
        self._require_calm(segments)
        mark = self._mark(shown, segments)
        report = self._report(shown, target, encoded)
        unchanged = before is not None and before.mark == mark and _is_there(target, shown)
        record = self._record(shown, mark, before)
        files: list[Path] = []
        if not unchanged:
            self.films.keep(self.stem, record.unfinished(before))
            self._join(target, segments, shown)
            files = write_beside(target, shown.poster(), shown.chapters, shown.captions)
            prune(self._parts(self.stem), segments)
        if record != before:
            self.films.keep(self.stem, record)
        if not preview:
            files += self._beside(shown, record)
        return replace(report, made=not unchanged, files=files)

    def _join(self, target: Path, segments: Sequence[Segment], shown: Composition) -> None:
        join(
            target,
            segments,
            self.cut.frames_per_second,
            title=shown.title,
            language=shown.language,
            chapters=shown.chapters,
            captions=shown.captions,
        )

    def _parts(self, stem: str) -> Path:
        return self.films.folder / PARTS / stem

    def _recipe(self, shown: Composition, preview: bool) -> Recipe:
        if preview:
            return recipe_named("preview")
        if self.cut.encoder == "hardware":
            return hardware_recipe(*shown.size, self.cut.frames_per_second)
        return recipe_named("web")

    def _encode(
        self, shown: Composition, recipe: Recipe, stem: str, look: bool = False
    ) -> tuple[int, list[Segment]]:
        """The film in parts, and how many pictures were encoded for it."""
        jobs = [Job(mark, len(shots), _pictures(shown, shots)) for mark, shots in shown.parts]
        folder, encoded = self._parts(stem), 0
        there = {path.name for path in folder.glob("*")} if folder.is_dir() else set()
        segments = make_segments(
            folder,
            jobs,
            recipe,
            self.cut.frames_per_second,
            view=flash_view if look else None,
            workers=self.workers or self._fitting(shown.size),
            track=self.track,
        )
        fresh = {each.path: each.count for each in segments if each.path.name not in there}
        encoded = sum(fresh.values())
        return encoded, segments

    def _fitting(self, size: tuple[int, int]) -> int:
        """How many cores to use, by the encoders that fit into memory."""
        need = Need(_HELD_MB, _EACH_MB_A_MEGAPIXEL * size[0] * size[1] / 1e6)
        encoders = at_once(need, memory_mb=self.season.settings.compute.memory_mb)
        return min(ENCODER_THREADS * encoders, os.cpu_count() or 1)

    def _require_calm(self, segments: Sequence[Segment]) -> None:
        """No film flashes more than three times a second (WCAG 2.3.1)."""
        found = flashes_of(self._parts(self.stem), segments, self.cut.frames_per_second)
        if not found:
            return
        worst = max(found, key=lambda flash: flash.pairs)
        colour = "red flashes" if worst.red else "flashes"
        raise FilmError(
            f'cut "{self.name}": it would show {worst.pairs} {colour} within a second, from '
            f"second {worst.second:.1f} on ({len(found)} such places); more than three a second "
            "can bring on a seizure (WCAG 2.3.1), so it was not put together. Let pictures change "
            'more slowly (a larger day_seconds, between = "fade") or be more alike (frames = '
            '"daily" or "alike", even_light = true)'
        )

    def _mark(self, shown: Composition, segments: Sequence[Segment]) -> str:
        told = [
            [segment.path.name for segment in segments],
            [asdict(cue) for cue in (*shown.chapters, *shown.captions)],
            shown.title,
        ]
        return hashlib.sha256(json.dumps(told).encode()).hexdigest()

    def _record(self, shown: Composition, mark: str, before: FilmRecord | None) -> FilmRecord:
        return FilmRecord(
            mark if not self.unreadable else "",
            shown.paths,
            days=[[f"{day.day}", day.start_s, day.end_s] for day in shown.days],
            chapters=[[cue.start_s, cue.end_s, cue.text] for cue in shown.chapters],
            boxes=shown.boxes,
            kind=self.cut.kind,
            title=shown.title,
            size=list(shown.size),
            framing=shown.framing,
            beside=dict(before.beside) if before else {},
            earlier=self.season.settings.site.earlier or "" if self.earlier else "",
            shows_earlier=shown.earlier_paths,
        )

    def _report(self, shown: Composition, target: Path, encoded: int) -> FilmReport:
        unread = [f"{path}: {why}" for (_, path), why in sorted(self.unreadable.items())]
        pictures = sum(len(shots) for _, shots in shown.parts)
        return FilmReport(
            self.name,
            target,
            len(shown.paths) + len(shown.earlier_paths),
            pictures,
            pictures / self.cut.frames_per_second,
            made=False,
            encoded=encoded,
            left_out=[*shown.left_out, *unread],
            untold=shown.untold,
        )

    def _beside(self, shown: Composition, record: FilmRecord) -> list[Path]:
        """Other files of the same film that are asked for; those that were made now.

        Each is put on record before it is begun, with the frames that may be in it.
        """
        made = []
        for kind in dict.fromkeys(self.cut.files):
            path, write = self._writer(kind, shown)
            own = " ".join([record.mark, self.cut.small] if kind == "small" else [record.mark])
            there = record.beside.get(path.name, {"mark": "", "shows": []})
            if path.exists() and record.mark and there["mark"] == own:
                continue
            shows = sorted({*there["shows"], *record.shows})
            record.beside[path.name] = {"mark": "", "shows": shows}
            self.films.keep(self.stem, record)
            write(path)
            record.beside[path.name] = {"mark": own, "shows": record.shows}
            self.films.keep(self.stem, record)
            made.append(path)
        return made

    def _writer(self, kind: str, shown: Composition) -> tuple[Path, Callable[[Path], object]]:
        films, cut = self.films.folder, self.cut
        if kind == "stills":
            return films / f"{self.stem}-stills", lambda path: self._stills(path, shown)
        if kind == "teaser":
            path = films / f"{self.stem}-teaser.{cut.teaser}"
            return path, lambda path: _write_teaser(path, list(shown.teaser()))
        name = {"small": cut.small, "master": {"h264": "h264-10"}.get(cut.master, cut.master)}[kind]
        recipe = recipe_named(name)
        path = films / f"{self.stem}.{kind}.{recipe.ending}"
        return path, lambda path: self._other(path, recipe, shown)

    def _stills(self, folder: Path, shown: Composition) -> None:
        shots = [shot for _, shots in shown.parts for shot in shots]
        days = [shown.day_of(shot) for shot in shots]
        pictures = self.track(shown.painter.pictures(shots), len(shots), "writing stills")
        write_stills(folder, days, pictures)

    def _other(self, path: Path, recipe: Recipe, shown: Composition) -> None:
        """The same film by another encoder."""
        _, segments = self._encode(shown, recipe, path.stem)
        self._join(path, segments, shown)
        prune(self._parts(path.stem), segments)


def _write_teaser(path: Path, pictures: list[np.ndarray]) -> None:
    """At the usual pace, or, where that would flash in its loop, so slowly that it cannot."""
    views = [flash_view(picture) for picture in pictures]
    calm = not flashes(views * 2, TEASER_PER_SECOND)
    write_teaser(path, pictures, TEASER_PER_SECOND if calm else TEASER_CALM_PER_SECOND)


def _is_there(target: Path, shown: Composition) -> bool:
    """Whether a film is there with its poster and its tracks."""
    wanted = [POSTER]
    wanted += [CHAPTERS] if shown.chapters else []
    wanted += [CAPTIONS] if shown.captions else []
    beside = (target.with_name(target.stem + ending) for ending in wanted)
    return target.exists() and all(path.exists() for path in beside)


def _pictures(shown: Composition, shots: Sequence) -> Callable:
    return lambda: shown.painter.pictures(shots)
