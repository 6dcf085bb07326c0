"""The pictures of a ribbon: one sprite for each month, so that a new day changes its month alone.

Slices are cut once and kept in the season's ``.cache``, which can be deleted at any time.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import cache, cached_property
from pathlib import Path

from PIL import Image

from lapsekit.catalogue import Frame
from lapsekit.compute import spread
from lapsekit.safely import write_safely
from lapsekit.settings import Region
from lapsekit.site import pictures
from lapsekit.site.ribbon import Strip
from lapsekit.site.writing import SiteFolder


class Slices:
    """Slices of daily pictures, kept in a folder.

    Parameters
    ----------
    folder : pathlib.Path
        Where they are kept; made when the first is written.
    regions : sequence of Region
        All regions; slices of a camera run through its plants.
    """

    def __init__(self, folder: Path, regions: Sequence[Region]):
        self._folder = folder
        self._regions = regions
        self._centre_of = cache(self._centre)
        self._marks: dict[str, str] = {}

    def has(self, frame: Frame) -> bool:
        """Whether the slice of a frame is there."""
        return self._name(frame) in self._there

    @cached_property
    def _there(self) -> set[str]:
        """Names of the files in the folder, looked up once."""
        return {file.name for file in self._folder.glob("*.png")}

    def keep(self, frame: Frame, picture: Image.Image) -> None:
        """Cut the slice of a frame out of its upright picture, of any size."""
        self._folder.mkdir(parents=True, exist_ok=True)
        cut = pictures.slice_of(picture, self._centre_of(frame.camera, frame.width))
        write_safely(self._folder / self._name(frame), pictures.png(cut))
        self._there.add(self._name(frame))

    def mark(self, frame: Frame) -> str:
        """Changes when the slice of a frame would look different."""
        if frame.path not in self._marks:
            centre = self._centre_of(frame.camera, frame.width)
            self._marks[frame.path] = pictures.mark(frame.sha256, centre)
        return self._marks[frame.path]

    def read(self, frame: Frame) -> Image.Image:
        """The slice of a frame, which must be there."""
        return pictures.opened_png((self._folder / self._name(frame)).read_bytes())

    def forget_all_but(self, frames: Iterable[Frame]) -> None:
        """Delete slices of other frames."""
        for name in self._there - {self._name(frame) for frame in frames}:
            (self._folder / name).unlink(missing_ok=True)

    def _name(self, frame: Frame) -> str:
        return f"{frame.camera}-{frame.day}-{self.mark(frame)}.png"

    def _centre(self, camera: str, width: int) -> float:
        return round(strip_centre([r for r in self._regions if r.camera == camera], width), 3)


def show_strip(
    folder: SiteFolder, slices: Slices, camera: str, strip: Strip, frames: Mapping[date, Frame]
) -> str:
    """Put up one month's sprite.

    Parameters
    ----------
    folder : SiteFolder
        The site.
    slices : Slices
        They must be there for the strip's days.
    camera : str
        Its name.
    strip : Strip
        What is shown.
    frames : mapping of date to Frame
        The camera's daily pictures.

    Returns
    -------
    str
        Stem of its files, ``STEM.KIND``, from the site's root.
    """
    shown = [frames[day] for day in strip.days]
    name = pictures.mark([slices.mark(frame) for frame in shown], strip.wide)
    stem = f"pictures/ribbon-{camera}-{strip.month}-{name}"
    missing = [kind for kind in pictures.KINDS if not folder.has(f"{stem}.{kind}")]
    if missing:
        column = pictures.WIDE_COLUMN if strip.wide else pictures.COLUMN_WIDTH
        sprite = pictures.sprite([slices.read(frame) for frame in shown], column)
        encoded = spread(lambda kind: pictures.encode(sprite, kind, pictures.SMALL), missing)
        for kind, data in zip(missing, encoded, strict=True):
            folder.put(f"{stem}.{kind}", data)
    return stem


def strip_centre(regions: Sequence[Region], width: int) -> float:
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
