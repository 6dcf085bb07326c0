"""Everything that turns a frame into rows, with the marks of the rows it makes."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import skimage

from lapsekit.catalogue import NOT_JUDGED, Frame, Measurement, Placement, Screening
from lapsekit.errors import ArchiveError, LapsekitError, PictureError, SettingsError
from lapsekit.grounds import Grounds
from lapsekit.memory import give_back
from lapsekit.resources import shipped_model_text
from lapsekit.season import Season
from lapsekit.settings import CanopyTable, Outline, Region
from lapsekit.shapes import Shapes
from lapsekit.teaching import Taught, Teacher, strokes_of
from lapsekit.viewing import View, in_reference_view, matrix_of
from lapsekit.vision.canopy import CanopyModel, cover_and_doubt
from lapsekit.vision.cleaning import HOLE_PX, SPECK_PX
from lapsekit.vision.cover import PIECE_PX
from lapsekit.vision.detail import Detail
from lapsekit.vision.fading import faded_share, near_canopy
from lapsekit.vision.figures import Figures, figures_of
from lapsekit.vision.known_ground import GROUND_RULES
from lapsekit.vision.reduction import reduced_points, reduction_of, whole_matrix
from lapsekit.vision.regions import (
    Inside,
    RegionCanopy,
    mean_share,
    outside,
    region_canopy,
    region_window,
)
from lapsekit.vision.registration import NotRegistered, Registration
from lapsekit.vision.trained_colours import Colours
from lapsekit.vision.within_day import colours_within

#: Raised by hand whenever the arithmetic of this stage changes its results.
ARITHMETIC = 15
UNREADABLE = "unreadable"

Rows = tuple[Screening, Placement | None, list[Measurement], str | None]
"""Screening, yet to be judged, placement, measurements and figures of one frame."""


def load_model(canopy: CanopyTable, folder: Path | None = None) -> CanopyModel | None:
    """The canopy model that settings ask for, the shipped one by default; None for an index.

    Raises
    ------
    SettingsError
        If ``canopy.model_file`` cannot be read or is not a canopy model.
    """
    if canopy.method != "model":
        return None
    if canopy.model_file is None:
        return CanopyModel.from_json(shipped_model_text())
    path = Path(folder or ".", canopy.model_file)
    try:
        return CanopyModel.from_json(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValueError, LapsekitError) as error:
        raise SettingsError(
            f"canopy.model_file = {str(path)!r}: not a usable canopy model ({error})"
        ) from error


@dataclass(frozen=True)
class Known:
    """What a ruler found out about its season, so that another one need not look again.

    Attributes
    ----------
    model : CanopyModel or None
    taught : Taught or None
    views : mapping of str to (Frame or None, bool)
        Each camera's reference frame, and whether frames are held to it.
    """

    model: CanopyModel | None
    taught: Taught | None
    views: Mapping[str, tuple[Frame | None, bool]]


class Ruler:
    """Everything that turns a frame into rows, with the marks of the rows it makes.

    Parameters
    ----------
    season : Season
    known : Known, optional
        What another ruler found out about it; looked for by default.
    shapes : Shapes, optional
        Where covers are kept; beside the season's catalogue by default.
    """

    def __init__(self, season: Season, known: Known | None = None, shapes: Shapes | None = None):
        settings = season.settings
        self.season = season
        self.method = settings.canopy.method
        self.model = known.model if known else load_model(settings.canopy, season.folder)
        self.shapes = shapes or Shapes(season.folder)
        self.views = {name: View(season, name) for name in settings.cameras}
        for name, (frame, is_held_to) in known.views.items() if known else ():
            self.views[name].frame, self.views[name].is_held_to = frame, is_held_to
        self.grounds = Grounds(self.views, self.model)
        self.teacher = Teacher(season, self.views, self.model)
        self.taught = known.taught if known else self.teacher.taught(strokes_of(season, self.model))
        versions = {
            "cv2": cv2.__version__,
            "numpy": np.__version__,
            "skimage": skimage.__version__,
            "arithmetic": ARITHMETIC,
        }
        self._screening = mark_of(versions)
        taught = self.taught and self.taught.mark
        rules = (SPECK_PX, HOLE_PX, *GROUND_RULES)
        self._canopy = (self.method, self.model and self.model.mark, rules, taught)
        self._known_marks: dict[tuple, str] = {}
        self._stands: dict[str, np.ndarray | None] = {}
        self._of_day: dict[tuple[str, date], list[Frame]] = {}

    @property
    def least_px(self) -> int:
        """Smallest patch that its method counts as canopy, in px of a measured frame."""
        return SPECK_PX if self.model is None else PIECE_PX

    def known_of(self, cameras: Iterable[str]) -> Known:
        """What it knows of these cameras and all that they share."""
        views = {name: (self.views[name].frame, self.views[name].is_held_to) for name in cameras}
        return Known(self.model, self.taught, views)

    def is_done(self, frame: Frame, rows: Rows) -> bool:
        """Whether a frame's rows are those that today's settings give."""
        screening, placement, measurements, _ = rows
        if screening.mark != self.screening_mark(frame):
            return False
        if screening.reasons == (UNREADABLE,) or (placement and placement.matrix is None):
            return True
        return {m.region: m.mark for m in measurements} == self.marks(frame)

    def outlines(self, frame: Frame) -> list[tuple[Region, Outline]]:
        """Regions that a frame shows whole, with the outline valid on its day."""
        pairs = (
            (region, region.outline_on(frame.day))
            for region in self.season.regions.region
            if region.camera == frame.camera
        )
        shape = frame.height, frame.width
        return [(r, found) for r, found in pairs if found and not outside(shape, found.points)]

    def screening_mark(self, frame: Frame) -> str:
        """Settings mark of a frame's verdict, which knows whether it could be registered."""
        return self.figures_mark(frame.camera)

    def figures_mark(self, camera: str) -> str:
        """Settings mark of the figures of a camera's frames."""
        return self._marked("screening", camera, self._screening, self.views[camera].mark[1])

    def mark(self, frame: Frame, outline: Outline) -> str:
        """Settings mark of a region's measurement in a frame."""
        view = self.views[frame.camera]
        fits = view.fits(frame)
        key = (frame.camera, fits, outline.points)
        return self._marked(*key, self._screening, self._canopy, view.mark)

    def labels_mark(self, camera: str, regions: Sequence[str]) -> str:
        """Settings mark of a day's division among regions, which it knows by their numbers."""
        return mark_of(
            "labels", self._canopy, self.views[camera].mark[1], list(regions), ARITHMETIC
        )

    def _marked(self, *parts: object) -> str:
        key = parts[:3]
        if key not in self._known_marks:
            self._known_marks[key] = mark_of(*parts)
        return self._known_marks[key]

    def marks(self, frame: Frame) -> dict[str, str]:
        """Marks that the frame's measurements carry when they are up to date, by region."""
        return {r.name: self.mark(frame, o) for r, o in self.outlines(frame)}

    def prepare(self, frames: list[Frame]) -> None:
        """Make ready what all frames share, before threads ask for it at once."""
        for camera in {frame.camera for frame in frames}:
            view = self.views[camera]
            if self.outlines_of(camera):
                _ = view.reference, view.scale.weights_cm2, self.grounds.of(camera)

    def outlines_of(self, camera: str) -> bool:
        """Whether any region is seen by a camera."""
        return any(region.camera == camera for region in self.season.regions.region)

    def measure(self, frame: Frame) -> Rows | str:
        """One frame's rows, whatever its verdict will be; or why it was not read."""
        try:
            picture, detail = self.read(frame)
        except ArchiveError as error:
            return str(error)
        except PictureError as error:
            told = f"{UNREADABLE}: {error}"
            unread = (UNREADABLE,), None, None, None, told
            return Screening(frame.path, self.screening_mark(frame), *unread), None, [], None
        figures = figures_of(picture)
        screening, text = self._screened(frame, figures), json.dumps(figures.as_plain())
        regions = self.outlines(frame)
        found = self.found(frame, picture) if regions else None
        placement = self._placed(frame, found)
        if not regions or isinstance(found, NotRegistered):
            return screening, placement, [], text
        matrix = matrix_of(found)
        cover, doubt = self._covered(frame, picture, detail, matrix)
        return screening, placement, self._regions(frame, cover, doubt, picture, matrix), text

    def rest(self) -> None:
        """Give back what measuring works in, once the frames are measured."""
        if self.model is not None:
            self.model.network.rest()
        give_back()

    def found(self, frame: Frame, picture: np.ndarray) -> Registration | NotRegistered | None:
        """Where the reference view lies in a frame, looked for where the day's others have it.

        None where frames are taken as they are.
        """
        view = self.views[frame.camera]
        if not view.fits(frame):
            return None
        found = view.find_in(picture, lambda: self._stand(frame))
        self._stands[frame.path] = view.matrix_of(self._placed(frame, found))
        return found

    def _stand(self, frame: Frame) -> np.ndarray | None:
        """Where the reference view lies in the first frame of the same day that has a place.

        Only earlier frames are asked, so that it makes no difference which are measured first.
        """
        day = frame.camera, frame.day
        if day not in self._of_day:
            self._of_day[day] = self.season.catalogue.frames(*day)
        for earlier in self._of_day[day]:
            if (earlier.taken_at, earlier.path) >= (frame.taken_at, frame.path):
                return None
            if earlier.path not in self._stands:
                try:
                    self.found(earlier, self.picture(earlier))
                except (ArchiveError, PictureError):
                    self._stands[earlier.path] = None
            if self._stands.get(earlier.path) is not None:
                return self._stands[earlier.path]
        return None

    def _screened(self, frame: Frame, figures: Figures) -> Screening:
        return Screening(
            frame.path,
            self.screening_mark(frame),
            (NOT_JUDGED,),
            figures.luminance,
            figures.clipped,
            round(1 - figures.sharpness, 5),
        )

    def cover(self, frame: Frame, placement: Placement | None) -> np.ndarray:
        """A frame's cover in the reference view, kept or made again: (H, W) uint8.

        Raises
        ------
        ArchiveError, PictureError
            If it is not kept and the frame can no longer be read.
        """
        kept = self.shapes.cover(*self._place(frame))
        if kept is not None:
            return kept
        matrix = self.views[frame.camera].matrix_of(placement)
        return self._covered(frame, *self.read(frame), matrix)[0]

    def picture(self, frame: Frame) -> np.ndarray:
        """A frame's picture as it is measured; raises ArchiveError or PictureError."""
        return self.views[frame.camera].picture(frame)

    def read(self, frame: Frame) -> tuple[np.ndarray, Detail]:
        """The picture, and how finely its file keeps colours; raises as `picture`."""
        return self.views[frame.camera].read(frame)

    def _covered(
        self, frame: Frame, picture: np.ndarray, detail: Detail, matrix: np.ndarray | None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Cover and doubt in the reference view, as shares of 255: (H, W) uint8; cover is kept."""
        lit, colours, ground = self._known_of(frame, picture, matrix)
        shares = cover_and_doubt(lit, self.method, self.model, colours, detail, ground)
        cover, doubt = (
            in_reference_view(cv2.convertScaleAbs(share, alpha=255), matrix) for share in shares
        )
        self.shapes.keep_cover(*self._place(frame), cover)
        return cover, doubt

    def _known_of(
        self, frame: Frame, picture: np.ndarray, matrix: np.ndarray | None
    ) -> tuple[np.ndarray, Colours | None, np.ndarray | None]:
        """The frame in the reference frame's light, what the grower taught, and its ground."""
        view = self.views[frame.camera]
        colours = self.taught and self.taught.on(frame, view, matrix)
        lit = view.in_its_light(picture, matrix)
        return lit, colours, self.grounds.evidence(frame.camera, lit, matrix)

    def faded_shares(self, frame: Frame, placement: Placement | None) -> dict[str, float]:
        """How much of the canopy in each region hangs on how strong the frame's colours are.

        By region, as `lapsekit.vision.fading.faded_share`; without regions that show no canopy,
        and empty for an index, which knows no doubts.

        Raises
        ------
        ArchiveError, PictureError
            If the frame can no longer be read.
        """
        if self.model is None:
            return {}
        matrix = self.views[frame.camera].matrix_of(placement)
        near = near_canopy(self.cover(frame, placement))
        picture, detail = self.read(frame)
        lit, colours, ground = self._known_of(frame, picture, matrix)
        shares = self.model.fading(lit, colours, detail, ground)
        plain, faint = (in_reference_view(each, matrix) for each in shares)
        found = {}
        outlines = zip(self.outlines(frame), self._insides(frame, near.shape), strict=True)
        for (region, _), (box, inside) in outlines:
            here = inside & near[box]
            if here.any():
                found[region.name] = round(faded_share(plain[box][here], faint[box][here]), 6)
        return found

    def _place(self, frame: Frame) -> tuple[str, date, str, str]:
        """Where a frame's cover is kept."""
        held = self.views[frame.camera].mark[1]
        mark = self._marked("cover", frame.camera, self._canopy, held, ARITHMETIC)
        return frame.camera, frame.day, Path(frame.path).stem, mark

    def _regions(
        self,
        frame: Frame,
        shares: np.ndarray,
        doubt: np.ndarray,
        picture: np.ndarray,
        matrix: np.ndarray | None,
    ) -> list[Measurement]:
        pairs, by = self.outlines(frame), reduction_of((frame.width, frame.height))
        outlines = [o.points and reduced_points(o.points, by) for _, o in pairs]
        seen = colours_within(picture, shares, outlines, matrix)
        insides, canopies = self._insides(frame, shares.shape), self.canopies(frame, shares)
        found = zip(pairs, insides, seen, canopies, strict=True)
        rows = []
        for (region, outline), (box, inside), colour, canopy in found:
            whole = replace(
                canopy, canopy_px=canopy.canopy_px * by**2, region_px=canopy.region_px * by**2
            )
            mark = self.mark(frame, outline)
            unsure = mean_share(doubt[box], inside)
            figures = {**asdict(whole), **asdict(colour), "unsure": round(unsure, 6)}
            rows.append(Measurement(frame.path, region.name, mark, **figures))
        return rows

    def canopies(self, frame: Frame, cover: np.ndarray) -> list[RegionCanopy]:
        """Canopy of each of the frame's `outlines`, in px of its cover in the reference view."""
        view = self.views[frame.camera]
        weights = view.scale.weights_cm2 if view.fits(frame) else None
        return [
            region_canopy(cover[box], inside, None if weights is None else weights[box])
            for box, inside in self._insides(frame, cover.shape)
        ]

    def _insides(self, frame: Frame, shape: tuple[int, int]) -> list[Inside]:
        """The window of each of the frame's `outlines`, and what lies inside, at a cover's size."""
        by = reduction_of((frame.width, frame.height))
        return [
            region_window(shape, outline.points and reduced_points(outline.points, by))
            for _, outline in self.outlines(frame)
        ]

    def _placed(self, frame: Frame, found: Registration | NotRegistered | None) -> Placement | None:
        """The row of a registration, in pixels of whole frames."""
        if found is None:
            return None
        if isinstance(found, NotRegistered):
            return Placement(frame.path, None, None, None, found.reason)
        by = self.views[frame.camera].by
        matrix = tuple(round(float(v), 12) for v in whole_matrix(found.matrix, by).ravel())
        residual_px, error_px = (round(by * v, 4) for v in (found.residual_px, found.error_px))
        return Placement(frame.path, matrix, residual_px, error_px, found.method)


def mark_of(*parts: object) -> str:
    """A short hash of what can be told as JSON."""
    text = json.dumps(parts, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
