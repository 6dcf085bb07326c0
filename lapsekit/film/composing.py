"""A cut put together: panels, their light, the course of time, the face, the text tracks."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from pathlib import Path

import numpy as np

from lapsekit.film.cues import captions_of, chapters_of, days_in_film
from lapsekit.film.exports import teaser_choice
from lapsekit.film.face.cards import gap_card
from lapsekit.film.face.face import Face
from lapsekit.film.facing import acts_of, gains_of, sown_of, told_of
from lapsekit.film.layout import film_size, panel_boxes
from lapsekit.film.lights import choice, lights_of
from lapsekit.film.pacing import Beat, Stretch
from lapsekit.film.painting import Painter, Shot
from lapsekit.film.planning import Plan, planned
from lapsekit.film.records import FilmRecord
from lapsekit.film.scenes import Scene, scene_of, view_of
from lapsekit.film.sources import Panel, left_out, panels_of
from lapsekit.film.tracks import Cue, Day
from lapsekit.film.windows import Box, Size
from lapsekit.language.phrases import reasons_text
from lapsekit.language.words import Words
from lapsekit.progress import Track
from lapsekit.season import Season
from lapsekit.settings import Cut

PART_SECONDS = 2.0
"""How long a part is that is encoded by itself: shorter ones start anew too often."""

UNSETTLED_DAYS = 8
"""So many last days may still change: the light of a day is judged by those of a week around it."""


@dataclass(frozen=True)
class Composition:
    """A film, ready to be painted and encoded.

    Attributes
    ----------
    size : (int, int)
        Width and height in px.
    title, language : str
    painter : Painter
    parts : list of (str, list of Shot)
        For each day or gap a mark that changes when its pictures would, and its pictures.
    days : list of Day
        When each calendar day is shown; empty where plants go in step by age.
    chapters, captions : list of Cue
    paths, earlier_paths : list of str
        Frames of this season that it shows, and of the earlier one.
    framing : str
        Changes when `boxes` mean something else.
    boxes : list of list of Box
        For each panel the windows that it shows.
    left_out, untold : list of str
    """

    size: Size
    title: str
    language: str
    painter: Painter
    scenes: list[Scene]
    parts: list[tuple[str, list[Shot]]]
    days: list[Day]
    chapters: list[Cue]
    captions: list[Cue]
    paths: list[str]
    earlier_paths: list[str]
    framing: str
    boxes: list[list[Box]]
    left_out: list[str]
    untold: list[str]

    @property
    def shots(self) -> list[Shot]:
        """All pictures in order."""
        return [shot for _, shots in self.parts for shot in shots]

    @property
    def _uncovered(self) -> list[Shot]:
        """Pictures without a card, if there are any."""
        shown = [shot for shot in self.shots if not any(beat.paper for beat in shot.beats)]
        return shown or self.shots

    def poster(self) -> np.ndarray:
        """The last picture that shows a frame."""
        return next(self.painter.pictures(self._uncovered[-1:]))

    def teaser(self) -> Iterator[np.ndarray]:
        """A few pictures from all of the film."""
        shots = self._uncovered
        return self.painter.pictures([shots[number] for number in teaser_choice(len(shots))])

    def day_of(self, shot: Shot) -> date:
        """The calendar day of a picture, on the first panel."""
        return self.scenes[0].panel.day_of(shot.beats[0].day)


def composed(
    season: Season,
    cut: Cut,
    words: Words,
    before: FilmRecord | None,
    unreadable: Mapping[tuple[Path, str], str],
    workers: int | None,
    track: Track,
    earlier: Season | None = None,
) -> Composition:
    """Put a cut together.

    Parameters
    ----------
    season : Season
    cut : Cut
    words : Words
    before : FilmRecord or None
        Of the same film; its windows are kept while frames show them.
    unreadable : mapping of (Path, str) to str
        Frames that are known not to be readable, by their season's folder and their path; they are
        left out.
    workers, track
        For what has to be read of frames first.
    earlier : Season, optional
        The earlier season, for then-and-now.

    Raises
    ------
    FilmError
        If there is nothing to show.
    """
    panels = panels_of(season, cut, choice(cut, unreadable, workers, track), earlier)
    size, boxes = _laid_out(cut, panels)
    framing = _framing(cut, panels, boxes)
    held = before.boxes if before and before.framing == framing else []
    scenes = [
        scene_of(panel, cut, (right - left, bottom - top), _boxes(held, number))
        for number, (panel, (left, top, right, bottom)) in enumerate(
            zip(panels, boxes, strict=True)
        )
    ]
    acts = [acts_of(panel, words) for panel in panels]
    plan = planned(
        cut,
        [scene.counts for scene in scenes],
        _gains(panels) if cut.pace == "growth" else {},
        [
            (act.day - panel.origin).days
            for panel, own in zip(panels, acts, strict=True)
            for act in own
        ],
    )
    day_seconds = _day_seconds(cut, plan)
    lights = [lights_of(cut, scene, day_seconds, workers, track) for scene in scenes]
    shots, face = _shots(cut, scenes, plan, boxes, size, words)

    def card(number: int, gap: tuple[int, int]) -> np.ndarray:
        scene = scenes[number]
        first, last = (scene.panel.day_of(day) for day in gap)
        shape = cut.shape if len(scenes) == 1 else "square"
        why = reasons_text(words, left_out(scene.panel, first, last))
        return gap_card(scene.size, shape, words, first, last, why)

    painter = Painter(size, scenes, boxes, lights, cut.between, face, card)
    parts = [(painter.mark(each), each) for each in _parts(day_seconds, plan, shots)]
    days = days_in_film(cut, scenes, plan) if len(scenes) == 1 else []
    sown = sown_of(panels[0])
    return Composition(
        size=size,
        title=_title(panels),
        language=words.language,
        painter=painter,
        scenes=scenes,
        parts=parts,
        days=days,
        chapters=chapters_of(words, sown, days, acts[0]),
        captions=captions_of(words, sown, days, acts[0]),
        paths=painter.paths(parts, season),
        earlier_paths=painter.paths(parts, earlier) if earlier else [],
        framing=framing,
        boxes=[[list(box) for box in scene.framing.boxes] for scene in scenes],
        left_out=[told for scene in scenes for told in scene.left_out],
        untold=[f"{event.day}: {event.text} {event.label}".rstrip() for event in face.left_out],
    )


def _laid_out(cut: Cut, panels: Sequence[Panel]):
    """The film's size, and the boxes of its panels."""
    height, width = view_of(panels[0])
    own = width / height
    size = film_size(cut.shape, cut.short_side_px, 1.0 if panels[0].region else own)
    return size, panel_boxes(len(panels), size, 1.0 if panels[0].region else own)


def _framing(cut: Cut, panels: Sequence[Panel], boxes) -> str:
    """What windows are windows of: kept ones are of no use where it is another."""
    told = [
        (sown_of(panel), panel.camera, panel.region and panel.region.name, view_of(panel))
        for panel in panels
    ]
    named = [panel.season.settings.cameras[panel.camera].reference for panel in panels]
    whole = repr((told, named, boxes, cut.steady, cut.fit))
    return hashlib.sha256(whole.encode()).hexdigest()[:32]


def _gains(panels: Sequence[Panel]) -> dict[int, float]:
    """What canopy gained by day, of all panels together."""
    found: dict[int, float] = {}
    for panel in panels:
        for day, gain in gains_of(panel).items():
            found[day] = found.get(day, 0.0) + gain
    return found


def _day_seconds(cut: Cut, plan: Plan) -> float:
    """How long a day lasts in the film, on average."""
    if cut.day_seconds is not None:
        return cut.day_seconds
    return cut.length_seconds / sum(not stretch.gap for stretch in plan.stretches)


def _boxes(held: Sequence[Sequence[Box]], number: int) -> list[Box]:
    return [tuple(box) for box in held[number]] if number < len(held) else []


def _shots(cut: Cut, scenes, plan: Plan, boxes, size, words) -> tuple[list[list[Shot]], Face]:
    """Every picture of the film by stretch, and the face that lies on them."""
    pictures = plan.pictures
    windows = [
        scene.windows([beats[number] for beats in pictures], cut.frames_per_second)
        for number, scene in enumerate(scenes)
    ]
    alone = len(scenes) == 1
    faced = [k for k, beats in enumerate(pictures) if not (alone and beats[0].gap)]
    told = told_of(
        cut,
        scenes,
        [pictures[k] for k in faced],
        [windows[0][k][0] if windows[0][k] else None for k in faced],
        boxes,
        words,
    )
    face = Face(size, cut.shape, cut.shows, told)
    numbers = _faces(pictures, faced)
    shots = iter(
        Shot(beats, tuple(each[k] for each in windows), number)
        for k, (beats, number) in enumerate(zip(pictures, numbers, strict=True))
    )
    return [[next(shots) for _ in stretch] for stretch in plan.beats], face


def _parts(day_seconds: float, plan: Plan, shots: Sequence[Sequence[Shot]]) -> list[list[Shot]]:
    """Pictures that are encoded together: of days that last about `PART_SECONDS`.

    Counted from day 0, so that days that come later leave the parts before them as they were. The
    last days, which new ones change, are parts by themselves.
    """
    together = max(1, int(PART_SECONDS / day_seconds))
    settled = plan.stretches[-1].last - UNSETTLED_DAYS

    def part(pair: tuple[Stretch, Sequence[Shot]]) -> tuple[int, int]:
        day = pair[0].day
        number = day // together
        return number, 0 if (number + 1) * together <= settled else day

    pairs = zip(plan.stretches, shots, strict=True)
    return [[shot for _, each in of_part for shot in each] for _, of_part in groupby(pairs, part)]


def _faces(pictures: Sequence[tuple[Beat, ...]], faced: Sequence[int]) -> list[int]:
    """Which face lies on each picture; on cards, that of the picture they come from or go to."""
    number_of = {picture: number for number, picture in enumerate(faced)}
    found = [number_of.get(k, 0) for k in range(len(pictures))]
    for k in range(1, len(pictures)):
        if k not in number_of:
            found[k] = found[k - 1]
    for k in range(len(pictures) - 2, -1, -1):
        beat = pictures[k][0]
        if k not in number_of and beat.first and beat.first[0] > beat.gap[1]:
            found[k] = found[k + 1]
    return found


def _title(panels: Sequence[Panel]) -> str:
    if len(panels) > 1:
        return " · ".join(dict.fromkeys(panel.title for panel in panels))
    return panels[0].title
