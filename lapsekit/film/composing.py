"""A cut put together: panels, their light, the course of time, the face, the text tracks."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.film.acts import Act
from lapsekit.film.exports import teaser_choice
from lapsekit.film.face.cards import gap_card
from lapsekit.film.face.face import Face
from lapsekit.film.facing import acts_of, gains_of, told_of
from lapsekit.film.layout import film_size, panel_boxes
from lapsekit.film.lighting import light_of
from lapsekit.film.pacing import Beat
from lapsekit.film.painting import Painter, Shot
from lapsekit.film.planning import Plan, planned
from lapsekit.film.scenes import Scene, scene_of
from lapsekit.film.sources import Choice, Panel, panels_of
from lapsekit.film.tracks import Cue, Day, chapters
from lapsekit.film.windows import Box, Size
from lapsekit.frames.choosing import daily_picture
from lapsekit.language.phrases import age_text
from lapsekit.language.words import Words
from lapsekit.progress import Track
from lapsekit.season import FilmRecord, Season
from lapsekit.settings import Cut
from lapsekit.vision.alike import alike
from lapsekit.vision.even_light import corrections

PART_SECONDS = 2.0
"""How long a part is that is encoded by itself: shorter ones start anew too often, and of longer
ones a new day changes more."""


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
    paths : list of str
        Frames of this season that it shows.
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
    boxes: list[list[Box]]
    left_out: list[str]
    untold: list[str]

    @property
    def shots(self) -> list[Shot]:
        """All pictures in order."""
        return [shot for _, shots in self.parts for shot in shots]

    def poster(self) -> np.ndarray:
        """The last picture that shows a frame."""
        shown = [shot for shot in self.shots if not any(beat.paper for beat in shot.beats)]
        return next(self.painter.pictures((shown or self.shots)[-1:]))

    def teaser(self) -> Iterator[np.ndarray]:
        """A few pictures from all of the film."""
        shots = self.shots
        return self.painter.pictures([shots[number] for number in teaser_choice(len(shots))])

    def day_of(self, shot: Shot) -> date:
        """The calendar day of a picture, on the first panel."""
        return self.scenes[0].panel.day_of(shot.beats[0].day)


def composed(
    season: Season,
    cut: Cut,
    words: Words,
    before: FilmRecord | None,
    unreadable: Mapping[str, str],
    workers: int | None,
    track: Track,
) -> Composition:
    """Put a cut together.

    Parameters
    ----------
    season : Season
    cut : Cut
    words : Words
    before : FilmRecord or None
        Of the same film; its windows are kept while frames show them.
    unreadable : mapping of str to str
        Frames that are known not to be readable, which are left out.
    workers, track
        For what has to be read of frames first.

    Raises
    ------
    FilmError
        If there is nothing to show.
    """
    panels = panels_of(season, cut, _choice(cut, unreadable, workers, track))
    size, boxes = _laid_out(cut, panels)
    held = before.boxes if before and before.size == list(size) else []
    scenes = [
        scene_of(panel, cut, (right - left, bottom - top), _boxes(held, number))
        for number, (panel, (left, top, right, bottom)) in enumerate(
            zip(panels, boxes, strict=True)
        )
    ]
    acts = [act for panel in panels for act in acts_of(panel, words)] if len(panels) == 1 else []
    plan = planned(
        cut,
        [scene.counts for scene in scenes],
        gains_of(panels[0]) if cut.pace == "growth" else {},
        [(act.day - panels[0].origin).days for act in acts],
    )
    lights = [_lights(cut, scene, workers, track) for scene in scenes]
    shots, face = _shots(cut, scenes, plan, boxes, size, words)

    def card(number: int, gap: tuple[int, int]) -> np.ndarray:
        first, last = (scenes[number].panel.day_of(day) for day in gap)
        shape = cut.shape if len(scenes) == 1 else "square"
        return gap_card(scenes[number].size, shape, words, first, last)

    painter = Painter(size, scenes, boxes, lights, cut.between, face, card)
    parts = [(painter.mark(each), each) for each in _parts(cut, plan, shots)]
    days = _days(cut, scenes, plan) if len(scenes) == 1 else []
    return Composition(
        size=size,
        title=_title(season, panels),
        language=words.language,
        painter=painter,
        scenes=scenes,
        parts=parts,
        days=days,
        chapters=_chapters(words, season, days, acts),
        captions=_captions(words, season, days, acts),
        paths=sorted(
            {
                s.frame.path
                for scene in scenes
                if scene.panel.season is season
                for each in scene.panel.sources.values()
                for s in each
            }
        ),
        boxes=[[list(box) for box in scene.framing.boxes] for scene in scenes],
        left_out=[told for scene in scenes for told in scene.left_out],
        untold=[f"{event.day}: {event.text}" for event in face.left_out],
    )


def _choice(cut: Cut, unreadable: Mapping[str, str], workers: int | None, track: Track) -> Choice:
    """Which of each day's frames a cut wants."""

    def choose(season: Season, days: Mapping[date, Sequence[Frame]]):
        read = {
            day: kept
            for day, frames in days.items()
            if (kept := [frame for frame in frames if frame.path not in unreadable])
        }
        if cut.frames == "all" or not read:
            return read
        if cut.frames == "daily":
            return {day: [daily_picture(each, season.daily_at(day))] for day, each in read.items()}
        return _alike(season, read, workers, track)

    return choose


def _alike(season: Season, days, workers, track):
    """Of each day the frame whose light is most like that of its neighbours."""
    frames = [frame for day in sorted(days) for frame in days[day]]
    _, levels = light_of(season, frames[0].camera, frames, workers, track)
    local = [frame.taken_at.astimezone(season.zone) for frame in frames]
    hours = [moment.hour + moment.minute / 60 for moment in local]
    wished = season.daily_at(frames[0].day).astimezone(season.zone)
    chosen = alike(
        levels,
        [frame.day.toordinal() for frame in frames],
        hours,
        wished.hour + wished.minute / 60,
    )
    return {frames[number].day: [frames[number]] for number in chosen}


def _laid_out(cut: Cut, panels: Sequence[Panel]):
    """The film's size, and the boxes of its panels."""
    first = next(iter(panels[0].sources.values()))[0].frame
    own = first.width / first.height
    size = film_size(cut.shape, cut.short_side_px, 1.0 if panels[0].region else own)
    return size, panel_boxes(len(panels), size, 1.0 if panels[0].region else own)


def _boxes(held: Sequence[Sequence[Box]], number: int) -> list[Box]:
    return [tuple(box) for box in held[number]] if number < len(held) else []


def _lights(cut: Cut, scene: Scene, workers: int | None, track: Track) -> dict:
    """What brings each frame to the slow light, by path."""
    if not cut.even_light:
        return {}
    season, camera = scene.panel.season, scene.panel.camera
    order = [source for each in scene.panel.sources.values() for source in each]
    cells, levels = light_of(season, camera, [s.frame for s in order], workers, track)
    found = corrections(cells, levels, [s.at_days for s in order], [s.hour for s in order])
    return {s.frame.path: each for s, each in zip(order, found, strict=True)}


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


def _parts(cut: Cut, plan: Plan, shots: Sequence[Sequence[Shot]]) -> list[list[Shot]]:
    """Pictures that are encoded together: of days that last about `PART_SECONDS`.

    Counted from day 0, so that days that come later leave the parts before them as they were.
    """
    together = max(1, int(PART_SECONDS / (cut.day_seconds or cut.length_seconds)))
    pairs = zip(plan.stretches, shots, strict=True)
    groups = groupby(pairs, key=lambda pair: pair[0].day // together)
    return [[shot for _, each in group for shot in each] for _, group in groups]


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


def _days(cut: Cut, scenes: Sequence[Scene], plan: Plan) -> list[Day]:
    """When each day with a frame is shown."""
    found, at = [], 0
    for stretch in plan.stretches:
        if not stretch.gap:
            start, end = (n / cut.frames_per_second for n in (at, at + stretch.beats))
            found.append(Day(scenes[0].panel.day_of(stretch.day), start, end))
        at += stretch.beats
    return found


def _title(season: Season, panels: Sequence[Panel]) -> str:
    if len(panels) > 1:
        return " · ".join(dict.fromkeys(panel.title for panel in panels))
    return panels[0].title


def _chapters(words: Words, season: Season, days: list[Day], acts: Sequence[Act]) -> list[Cue]:
    if not days:
        return []
    opening = words.text(
        "The film begins, {age}", age=age_text(words, days[0].day, season.settings.season.sown)
    )
    told = [
        (
            day,
            words.text(
                "{day}: {what}",
                day=words.short_day(day),
                what="; ".join(act.text for act in of_day),
            ),
        )
        for day, of_day in groupby(acts, key=lambda act: act.day)
    ]
    return chapters(days, told, opening)


def _captions(words: Words, season: Season, days: list[Day], acts: Sequence[Act]) -> list[Cue]:
    told = {
        day: [act.text for act in of_day] for day, of_day in groupby(acts, key=lambda act: act.day)
    }
    cues = []
    for each in days:
        age = age_text(words, each.day, season.settings.season.sown)
        said = [f"{words.long_day(each.day)}, {age}", *told.get(each.day, ())]
        cues.append(Cue(each.start_s, each.end_s, "; ".join(said)))
    return cues
