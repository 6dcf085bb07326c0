"""Strokes tried on one frame: its mask at once, as measuring would find it with that colours.csv.

Nothing is written. What takes long about the frame, and about every other frame that strokes lie
on, is done once: reading, placing, light, and what the model holds of every pixel.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.errors import SettingsError
from lapsekit.ruler import Ruler
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.teaching import Key, strokes_of, zone_of
from lapsekit.viewing import in_reference_view, matrix_of
from lapsekit.vision.cover import cover_by_odds
from lapsekit.vision.known_ground import settled
from lapsekit.vision.pictures import encode_veil
from lapsekit.vision.regions import RegionCanopy
from lapsekit.vision.registration import NotRegistered
from lapsekit.vision.strokes import Stroke

VEIL = (214, 32, 128)
"""Colour of the veil over what counts as plant: one that neither leaves nor soil have."""

DENSEST = 0.55
"""Opacity of the veil: the leaf's edge must still be seen through it."""


@dataclass(frozen=True)
class RegionTried:
    """One region's canopy in the frame, with the season's own strokes and with those tried.

    Attributes
    ----------
    region : str
    cover_before, cover_after : float
        Canopy share of the outline, 0 to 1.
    area_cm2_before, area_cm2_after : float or None
        None without a scale.
    """

    region: str
    cover_before: float
    cover_after: float
    area_cm2_before: float | None
    area_cm2_after: float | None


@dataclass(frozen=True, eq=False, repr=False)
class Mask:
    """What counts as plant in a frame with some strokes.

    Attributes
    ----------
    shares : (H, W) uint8 ndarray
        Cover of every pixel of the frame as it is measured (large frames are reduced), as a share
        of 255.
    veil : bytes
        PNG of these shares, of the same size, one colour that grows denser: for the page.
    regions : tuple of RegionTried
        In the order of regions.toml; empty where the frame could not be placed.
    """

    shares: np.ndarray
    veil: bytes
    regions: tuple[RegionTried, ...]


class Trial:
    """A frame on which strokes are tried.

    Parameters
    ----------
    season : Season
    frame : Frame

    Raises
    ------
    SettingsError
        If the season's canopy is not found by a model, or its own colours.csv cannot be used.
    ArchiveError, PictureError
        If the frame cannot be read.
    """

    def __init__(self, season: Season, frame: Frame):
        ruler = Ruler(season)
        if ruler.model is None:
            raise SettingsError(
                f'{season.folder / "season.toml"}: canopy.method is "{ruler.method}", which no '
                'stroke can teach; set it to "model" first'
            )
        self._ruler, self._frame = ruler, frame
        picture, detail = ruler.read(frame)
        found = ruler.found(frame, picture) if ruler.outlines(frame) else None
        self._is_lost = isinstance(found, NotRegistered)
        self._matrix = None if self._is_lost else matrix_of(found)
        self._lit = ruler.views[frame.camera].in_its_light(picture, self._matrix)
        ground = ruler.grounds.evidence(frame.camera, self._lit, self._matrix)
        self._odds = settled(ruler.model.odds(self._lit, detail), ground)
        self._zone = cache(self._found_zone)
        self._before = self._regions(self._shares(strokes_of(season, ruler.model)))
        ruler.teacher.look_at(frame.path)

    def with_strokes(self, strokes: Sequence[Stroke]) -> Mask:
        """The frame's mask if these were all strokes of the season.

        Parameters
        ----------
        strokes : sequence of Stroke
            Those of other frames too: what they teach counts here.

        Returns
        -------
        Mask

        Raises
        ------
        SettingsError
            If a stroke names a frame that is not there.
        """
        shares = self._shares(strokes)
        pairs = zip(self._before, self._regions(shares), strict=True)
        told = tuple(
            RegionTried(region.name, old.cover, new.cover, old.area_cm2, new.area_cm2)
            for (region, old), (_, new) in pairs
        )
        return Mask(shares, encode_veil(shares, VEIL, DENSEST), told)

    def _shares(self, strokes: Sequence[Stroke]) -> np.ndarray:
        """Cover of the frame as shares of 255, as `Ruler` rounds it."""
        taught = self._ruler.teacher.taught(strokes)
        colours = taught and taught.zoned(self._zone)
        return cv2.convertScaleAbs(cover_by_odds(self._lit, self._odds, colours), alpha=255)

    def _found_zone(self, key: Key) -> np.ndarray:
        regions, view = self._ruler.season.regions.region, self._ruler.views[self._frame.camera]
        return zone_of(regions, key, self._frame, view, self._matrix)

    def _regions(self, shares: np.ndarray) -> list[tuple[Region, RegionCanopy]]:
        """Each region's canopy, measured in the reference view; none where that was not found."""
        if self._is_lost:
            return []
        cover = in_reference_view(shares, self._matrix)
        regions = (region for region, _ in self._ruler.outlines(self._frame))
        return list(zip(regions, self._ruler.canopies(self._frame, cover), strict=True))
