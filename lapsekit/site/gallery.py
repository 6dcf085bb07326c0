"""Puts the pictures of a season into the site: daily pictures in their sizes, and the ribbons.

Encoding is what a build spends its time on, so it is done once: a file's name carries a hash of
the frame and of how it was encoded, and a name that is there already is not made again. Slices
for the ribbon are kept in the season's ``.cache``, which can be deleted at any time.
"""

from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property
from pathlib import Path

from PIL import Image

from lapsekit.catalogue import Frame
from lapsekit.compute import spread
from lapsekit.errors import ArchiveError, PictureError
from lapsekit.progress import Track
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.site import pictures
from lapsekit.site.almanac import Almanac
from lapsekit.site.writing import SiteFolder


@dataclass(frozen=True)
class Shown:
    """A picture as a page shows it: stem and size of each file, small to large."""

    files: tuple[tuple[str, int, int], ...]

    @property
    def largest(self) -> tuple[str, int, int]:
        """Stem, width and height of the largest file."""
        return self.files[-1]

    def srcset(self, root: str, suffix: str) -> str:
        """Value of an HTML ``srcset``."""
        return ", ".join(f"{root}{stem}.{suffix} {width}w" for stem, width, _ in self.files)


class Gallery:
    """The pictures of one site.

    Attributes
    ----------
    shown : dict
        Pictures by camera and day, filled by :meth:`show_all`.
    strips : dict
        The ribbon's months by camera: stem of the sprite and the days in it.
    """

    def __init__(self, season: Season, almanac: Almanac, folder: SiteFolder):
        self._season = season
        self._almanac = almanac
        self._folder = folder
        self._slices = season.folder / ".cache" / "slices"
        self._centre_of = cache(self._centre)
        self.shown: dict[str, dict[date, Shown]] = {}
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

    def _show(self, frame: Frame) -> Shown:
        source = _Source(self._season, frame)
        files, missing = [], []
        for size in pictures.sizes(frame.width, frame.height):
            name = pictures.mark(frame.sha256, size)
            stem = f"pictures/{frame.camera}/{frame.day}-{name}-{max(size)}"
            kinds = [kind for kind in pictures.KINDS if not self._folder.has(f"{stem}.{kind}")]
            smaller = pictures.resized(source.picture, size) if kinds else None
            missing += [(f"{stem}.{kind}", smaller, kind) for kind in kinds]
            files.append((stem, *size))
        self._put_encoded(missing)
        slice_file = self._slice_file(frame)
        if not slice_file.is_file():
            self._slices.mkdir(parents=True, exist_ok=True)
            strip = pictures.strip(source.picture, self._centre_of(frame.camera, frame.width))
            write_safely(slice_file, pictures.png(strip))
        return Shown(tuple(files))

    def _put_encoded(self, missing: list[tuple[str, Image.Image, str]]) -> None:
        """Put up files, each of a picture in a kind, encoded side by side."""
        encoded = spread(lambda job: pictures.encode(*job[1:]), missing)
        for (path, _, _), data in zip(missing, encoded, strict=True):
            self._folder.put(path, data)

    def told(self, camera: str, day: date) -> dict[str, object]:
        """A picture as the site's scripts know it."""
        shown = self.shown[camera][day]
        stem = shown.files[0][0].rsplit("-", 1)[0]
        return {"stem": stem, "widths": [width for _, width, _ in shown.files], "turn": None}

    def form(self, camera: str) -> dict[str, object]:
        """Size and scale of a camera's pictures, for the site's scripts."""
        return {"kinds": ["webp", "jpg"]}

    def box(self, region: Region) -> list[float] | None:
        """Where a region lies in the reference view: left, top, width, height, as shares of it."""
        return None

    def forget_old_slices(self) -> None:
        """Delete cached slices that no ribbon uses any more."""
        used = {
            self._slice_file(frame)
            for days in self._almanac.pictures.values()
            for frame in days.values()
        }
        for file in self._slices.glob("*.png"):
            if file not in used:
                file.unlink()

    def _slice_file(self, frame: Frame) -> Path:
        name = pictures.mark(frame.sha256, self._centre_of(frame.camera, frame.width))
        return self._slices / f"{frame.camera}-{frame.day}-{name}.png"

    def _centre(self, camera: str, width: int) -> float:
        regions = [r for r in self._almanac.regions if r.camera == camera]
        return round(strip_centre(regions, width), 3)


class _Source:
    """A frame's pixels, decoded once and only if they are needed."""

    def __init__(self, season: Season, frame: Frame):
        self._season = season
        self._frame = frame

    @cached_property
    def picture(self) -> Image.Image:
        return pictures.decode(self._season.archive.read(self._frame.path))


def strip_centre(regions: list[Region], width: int) -> float:
    """Where in the picture a ribbon's slices are cut, as a share of its width.

    Through the middle of the region in line with most other middles above and below it, so that
    a slice shows plants and not the bench between them; the picture's middle without outlines.
    By each region's first outline, so that the cut stays where it is over the season.
    """
    spans = [
        (min(x for x, _ in points), max(x for x, _ in points))
        for points in (region.outline[0].points for region in regions)
        if points is not None
    ]
    middles = [(low + high) / 2 for low, high in spans]

    def merit(middle: float) -> tuple[float, float]:
        offsets = [abs(2 * middle - low - high) / (high - low) for low, high in spans]
        return round(sum(max(0.0, 1 - off) for off in offsets), 2), -abs(middle - width / 2)

    return min(1.0, max(0.0, max(middles, key=merit) / width)) if middles else 0.5


def _opened(file: Path) -> Image.Image:
    with Image.open(file) as picture:
        return picture.convert("RGB")
