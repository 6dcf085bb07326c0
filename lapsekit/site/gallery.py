"""Puts the pictures of a season into the site: daily pictures in their sizes, and the ribbons.

Encoding is what a build spends its time on, so it is done once: a file's name carries a hash of
the frame and of how it was encoded, and a name that is there already is not made again.
"""

from dataclasses import dataclass
from datetime import date

from lapsekit.catalogue import Frame
from lapsekit.compute import spread
from lapsekit.errors import ArchiveError, PictureError
from lapsekit.memory import Need, at_once, give_back
from lapsekit.progress import Track
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.site import pictures
from lapsekit.site.almanac import Almanac
from lapsekit.site.cropping import Sight, cm_per_px, sight_of
from lapsekit.site.ribbon import strips
from lapsekit.site.strips import Slices, show_strip
from lapsekit.site.turning import Box, box_of
from lapsekit.site.writing import SiteFolder
from lapsekit.viewing import View

_NEED = Need(held_mb=240, each_mb=65)


@dataclass(frozen=True)
class Shown:
    """A picture as a page shows it: files ``STEM-WIDTH.KIND``.

    Attributes
    ----------
    stem : str
        ``pictures/CAMERA/DAY-MARK``, from the site's root.
    sizes : tuple of (int, int)
        Width and height of each size, small to large.
    fallback : tuple of int
        The widths of which there is a JPEG too.
    kinds : tuple of str
        Kinds of files, the smaller first; the last is ``jpg``.
    """

    stem: str
    sizes: tuple[tuple[int, int], ...]
    fallback: tuple[int, ...]
    kinds: tuple[str, ...] = pictures.KINDS

    @property
    def widths(self) -> tuple[int, ...]:
        """Widths in px, small to large."""
        return tuple(width for width, _ in self.sizes)

    def widths_of(self, kind: str) -> tuple[int, ...]:
        """Widths of which there is a file of a kind."""
        return self.fallback if kind == "jpg" else self.widths

    def path(self, width: int, kind: str) -> str:
        """A file's path from the site's root."""
        return f"{self.stem}-{width}.{kind}"

    @property
    def modern(self) -> str:
        """The kind that is not ``jpg``."""
        return self.kinds[0]

    @property
    def jpeg(self) -> tuple[str, int, int]:
        """Path, width and height of the largest JPEG: what anything can show."""
        width = self.fallback[-1]
        return self.path(width, "jpg"), width, dict(self.sizes)[width]

    @property
    def largest(self) -> tuple[str, int, int]:
        """Path, width and height of the largest file: what is zoomed into."""
        width, height = self.sizes[-1]
        return self.path(width, self.modern), width, height

    def srcset(self, root: str, kind: str) -> str:
        """Value of an HTML ``srcset``."""
        return ", ".join(f"{root}{self.path(w, kind)} {w}w" for w in self.widths_of(kind))


class Gallery:
    """The pictures of one site.

    Attributes
    ----------
    shown : dict
        Pictures by camera and day, filled by :meth:`show_all`.
    sights : dict
        Where a camera's frames lie in its reference view, by camera; None of one without frames.
    strips : dict
        The ribbon's months by camera: stem of the sprite and the days in it.
    """

    def __init__(self, season: Season, almanac: Almanac, folder: SiteFolder):
        self._season = season
        self._almanac = almanac
        self._folder = folder
        self._slices = Slices(season.folder / ".cache" / "slices", almanac.regions)
        self._views: dict[str, View] = {}
        self.shown: dict[str, dict[date, Shown]] = {}
        self.sights: dict[str, Sight | None] = {}
        self.strips: dict[str, list[dict[str, object]]] = {}

    def show_all(self, track: Track) -> None:
        """Put up every daily picture; one that cannot be read becomes a gap that says so."""
        work = [
            (camera, day, frame)
            for camera, days in self._almanac.pictures.items()
            for day, frame in sorted(days.items())
        ]
        for camera, day, frame in track(work, len(work), "pictures"):
            try:
                self.shown.setdefault(camera, {})[day] = self._show(frame)
            except (ArchiveError, PictureError) as error:
                self._almanac.lose_picture(camera, day, f"{frame.path}: {error}")
        for camera, frames in self._almanac.pictures.items():
            self.strips[camera] = [
                {
                    "month": strip.month,
                    "stem": show_strip(self._folder, self._slices, camera, strip, frames),
                    "days": strip.days,
                }
                for strip in strips(self._almanac.days, frames)
            ]
            self._views[camera] = View(self._season, camera)
            self.sights[camera] = sight_of(self._views[camera], frames)

    def _show(self, frame: Frame) -> Shown:
        sizes = pictures.sizes(frame.width, frame.height)
        fallback = pictures.fallback_widths([width for width, _ in sizes])
        name = pictures.mark(frame.sha256, sizes)
        shown = Shown(f"pictures/{frame.camera}/{frame.day}-{name}", sizes, fallback)
        missing = [
            (size, kind)
            for kind in shown.kinds
            for size in sizes
            if size[0] in shown.widths_of(kind) and not self._folder.has(shown.path(size[0], kind))
        ]
        if missing or not self._slices.has(frame):
            self._make(frame, shown, missing)
        return shown

    def _make(self, frame: Frame, shown: Shown, missing: list[tuple[tuple[int, int], str]]) -> None:
        """Put up a picture's missing files, and keep its slice.

        The largest are encoded one after another, since that takes much memory, which is given
        back at once; the others side by side.
        """
        data = self._season.archive.read(frame.path)
        largest = pictures.decode(data, frame.width, shown.sizes[-1])
        if not self._slices.has(frame):
            self._slices.keep(frame, largest)
        beside = at_once(_NEED, memory_mb=self._season.settings.compute.memory_mb)
        for is_large, workers in ((True, 1), (False, beside)):
            jobs = [job for job in missing if (job[0][0] > pictures.WIDTHS[-1]) == is_large]
            smaller = {size: pictures.resized(largest, size) for size in {size for size, _ in jobs}}
            encoded = spread(
                lambda job, of=smaller, alone=workers == 1: pictures.encode(
                    of[job[0]], job[1], alone=alone
                ),
                jobs,
                workers,
            )
            for (size, kind), made in zip(jobs, encoded, strict=True):
                self._folder.put(shown.path(size[0], kind), made)
                if is_large:
                    give_back()

    def told(self, camera: str, day: date) -> dict[str, object]:
        """A picture as the site's scripts know it."""
        shown = self.shown[camera][day]
        frame = self._almanac.pictures[camera][day]
        sight = self.sights[camera]
        return {
            "stem": shown.stem,
            "widths": shown.widths,
            "fallback": shown.fallback,
            "turn": sight and sight.turn(frame),
        }

    def form(self, camera: str) -> dict[str, object]:
        """Kinds of a camera's pictures, and size and scale of its view, for the site's scripts."""
        sight = self.sights[camera]
        return {
            "kinds": pictures.KINDS,
            "width": sight and sight.size[0],
            "height": sight and sight.size[1],
            "cm_per_px": cm_per_px(self._views[camera]) if sight else None,
        }

    def box(self, region: Region) -> Box | None:
        """Where a region lies in the reference view: left, top, width, height, as shares of it."""
        sight = self.sights.get(region.camera)
        return sight and box_of(region, sight.size)

    def forget_old_slices(self) -> None:
        """Delete cached slices that no ribbon uses any more."""
        kept = [f for days in self._almanac.pictures.values() for f in days.values()]
        self._slices.forget_all_but(kept)
