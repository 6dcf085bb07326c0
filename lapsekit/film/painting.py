"""The pictures of a film: frames placed, their light evened, one faded into the next, lettered."""

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from lapsekit.errors import ArchiveError, PictureError
from lapsekit.film.blending import Flow, between_pictures, cross_fade, flow_between
from lapsekit.film.face.face import Face
from lapsekit.film.pacing import Beat
from lapsekit.film.scenes import Scene
from lapsekit.film.sources import Source
from lapsekit.film.warping import film_to_frame, place, reduction_for
from lapsekit.film.windows import Window, filled
from lapsekit.lettering import PAPER
from lapsekit.season import Season
from lapsekit.vision.pictures import decode_reduced

PAINTING = 1
"""Raised by hand when the same frames give other pictures."""

_KEPT = 6

Box = tuple[int, int, int, int]


class Unreadable(Exception):
    """A frame that cannot be read, found while the film was painted."""

    def __init__(self, folder: Path, path: str, why: str):
        super().__init__(why)
        self.folder, self.path, self.why = folder, path, why


@dataclass(frozen=True)
class Shot:
    """One picture of the film.

    Attributes
    ----------
    beats : tuple of Beat
        What each panel shows.
    windows : tuple of tuple of Window
        For each panel, one for each frame of its beat.
    face : int
        Number of the face's beat that lies on it.
    """

    beats: tuple[Beat, ...]
    windows: tuple[tuple[Window, ...], ...]
    face: int


class Kept:
    """The few things that neighbouring pictures share; one for each thread's work."""

    def __init__(self, most: int):
        self._most, self._things = most, OrderedDict()

    def get(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """What was made for `key`, made now where it is not there (any more)."""
        if key not in self._things:
            self._things[key] = make()
            while len(self._things) > self._most:
                self._things.popitem(last=False)
        self._things.move_to_end(key)
        return self._things[key]


class Painter:
    """Paints the pictures of a film.

    Parameters
    ----------
    size : (int, int)
        Width and height of the film's pictures in px.
    scenes : sequence of Scene
        One a panel.
    boxes : sequence of (left, top, right, bottom)
        Of the panels.
    lights : sequence of mapping of str to Correction
        For each panel, what brings each of its frames to the slow light, by path; empty where
        frames are shown in their own.
    between : {"fade", "hold", "motion"}
    face : Face
    card : callable
        Given a panel's number and a gap (first and last day), the card's picture.
    """

    def __init__(
        self,
        size: tuple[int, int],
        scenes: Sequence[Scene],
        boxes: Sequence[Box],
        lights: Sequence[Mapping[str, Any]],
        between: str,
        face: Face,
        card: Callable[[int, tuple[int, int]], np.ndarray],
    ):
        self._size, self._scenes, self._boxes = size, scenes, boxes
        self._lights, self._between, self._face, self._card = lights, between, face, card
        self._card_marks: dict[tuple[int, tuple[int, int]], str] = {}

    def pictures(self, shots: Sequence[Shot]) -> Iterator[np.ndarray]:
        """The pictures of some shots, RGB uint8 of shape (height, width, 3).

        Raises
        ------
        Unreadable
            If a frame cannot be read.
        """
        kept = Kept(_KEPT * len(self._scenes))
        for shot in shots:
            yield self._picture(shot, kept)

    def paths(self, parts: Sequence[tuple[str, Sequence[Shot]]], season: Season) -> list[str]:
        """Paths of the frames of a season that are seen in some shots."""
        return sorted(
            {
                scene.source(at).frame.path
                for _, shots in parts
                for shot in shots
                for scene, beat in zip(self._scenes, shot.beats, strict=True)
                if scene.panel.season is season
                for at in beat.places
            }
        )

    def mark(self, shots: Sequence[Shot]) -> str:
        """What changes when the pictures of some shots would."""
        told = [
            (
                [self._told(number, shot) for number in range(len(self._scenes))],
                "" if self._hidden(shot) else self._face.mark(shot.face),
            )
            for shot in shots
        ]
        whole = (PAINTING, self._size, self._boxes, self._between, told)
        return hashlib.sha256(repr(whole).encode()).hexdigest()

    def _told(self, number: int, shot: Shot) -> tuple:
        """All that a panel's part of a picture depends on."""
        beat, scene = shot.beats[number], self._scenes[number]
        frames = []
        for at, window in zip(beat.places, shot.windows[number], strict=True):
            path = scene.source(at).frame.path
            placement = scene.placements[path]
            light = self._lights[number].get(path)
            frames.append(
                (
                    scene.source(at).frame.sha256,
                    None if placement is None else placement.round(9).tolist(),
                    light.key() if light is not None else None,
                    window,
                )
            )
        return frames, beat.mix, beat.paper, beat.gap and self._card_mark(number, beat.gap)

    def _card_mark(self, number: int, gap: tuple[int, int]) -> str:
        """Of a card as it looks: its words and their language are in it."""
        if (number, gap) not in self._card_marks:
            card = self._card(number, gap)
            self._card_marks[number, gap] = hashlib.sha256(card.tobytes()).hexdigest()
        return self._card_marks[number, gap]

    def _picture(self, shot: Shot, kept: Kept) -> np.ndarray:
        if len(self._scenes) == 1:
            return self._panel(0, shot, kept, lettered=True)
        canvas = np.empty((self._size[1], self._size[0], 3), np.uint8)
        canvas[:] = PAPER
        for number, (left, top, right, bottom) in enumerate(self._boxes):
            canvas[top:bottom, left:right] = self._panel(number, shot, kept)
        return self._face.draw(canvas, shot.face)

    @staticmethod
    def _hidden(shot: Shot) -> bool:
        return len(shot.beats) == 1 and shot.beats[0].paper >= 1

    def _panel(self, number: int, shot: Shot, kept: Kept, lettered: bool = False) -> np.ndarray:
        """A panel's picture; where the film has one alone, the face fades into cards with it."""
        beat = shot.beats[number]
        gap, card = beat.gap, None
        if gap is not None:
            card = kept.get((number, gap), lambda: self._card(number, gap))
        if card is not None and beat.paper >= 1:
            return card.copy()
        shown = self._frames(number, shot, kept)
        if lettered:
            shown = self._face.draw(shown, shot.face)
        return shown if card is None else cross_fade(shown, card, beat.paper)

    def _frames(self, number: int, shot: Shot, kept: Kept) -> np.ndarray:
        """What frames show, a picture of its own that may be drawn on."""
        beat, windows = shot.beats[number], shot.windows[number]
        scene = self._scenes[number]
        pictures = [
            self._placed(number, scene.source(at), window, kept)
            for at, window in zip(beat.places, windows, strict=True)
        ]
        if not pictures:
            return np.full((scene.size[1], scene.size[0], 3), PAPER, np.uint8)
        if len(pictures) == 1:
            return pictures[0].copy()
        first, second = pictures
        if self._between == "motion":
            flow = self._flow(number, beat, windows, pictures, kept)
            return between_pictures(first, second, beat.mix, flow)
        return cross_fade(first, second, beat.mix)

    @staticmethod
    def _flow(number, beat, windows, pictures, kept) -> Flow:
        key = ("flow", number, beat.first, beat.second, windows)
        return kept.get(key, lambda: flow_between(*pictures))

    def _placed(self, number: int, source: Source, window: Window, kept: Kept) -> np.ndarray:
        key = (number, source.frame.path, window)
        return kept.get(key, lambda: self._place(number, source, window, kept))

    def _place(self, number: int, source: Source, window: Window, kept: Kept) -> np.ndarray:
        """A frame in its window, in even light; on paper where the window is."""
        scene, path = self._scenes[number], source.frame.path
        inner = filled(window.box, window.inner[2:])
        placement = scene.placements[path]
        by = reduction_for(film_to_frame(placement, inner.matrix), inner.size)
        decoded = kept.get((number, path, by), lambda: self._decoded(number, source, by))
        shown = place(decoded, placement, inner.matrix, inner.size, by)
        light = self._lights[number].get(path)
        if light is not None:
            shown = light.evened(shown, inner.matrix)
        if inner.size == window.size:
            return shown
        canvas = np.empty((window.size[1], window.size[0], 3), np.uint8)
        canvas[:] = PAPER
        left, top, width, height = window.inner
        canvas[top : top + height, left : left + width] = shown
        return canvas

    def _decoded(self, number: int, source: Source, by: int) -> np.ndarray:
        season, frame = self._scenes[number].panel.season, source.frame
        try:
            return decode_reduced(season.archive.read(frame.path), by, (frame.height, frame.width))
        except (ArchiveError, PictureError) as error:
            raise Unreadable(season.folder, frame.path, str(error)) from error
