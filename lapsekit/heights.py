"""How high plants stood, by the diary, and what that takes off their areas.

A leaf nearer to the camera covers more of the picture. Lines like ``2031-05-06,basil,height,12 cm``
in diary.csv, or in mm, m and inches, say how high the canopy of a region stood over the bench;
between them it is taken to have grown evenly, before the first from nothing on the day of sowing,
after the last not at all. Lines of days to come count for nothing before their day has come. Only
with ``correct_height = true`` under ``[canopy]`` does any of them change a number.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from lapsekit.diary import HEIGHT, Event, read_diary
from lapsekit.errors import PictureError, SettingsError
from lapsekit.happened import to_come
from lapsekit.lengths import HOW_TO
from lapsekit.season import DIARY_FILE, Season
from lapsekit.settings import Region
from lapsekit.vision.plane import canopy_height_factor

READ_CM, UNEVEN_SHARE = 1.0, 0.1
"""Standard uncertainty of a height: what a ruler between leaves is read to, and, as a share, how
far the leaves that the camera sees lie from the height of the whole."""


@dataclass(frozen=True)
class Correction:
    """What an area is multiplied by, and how uncertain that is, as a share."""

    factor: float = 1.0
    uncertain: float = 0.0


class Heights:
    """The heights of a season's plants.

    Parameters
    ----------
    season : Season

    Raises
    ------
    SettingsError
        If they are to be used and the diary cannot be read, or holds a height that means nothing.
    """

    def __init__(self, season: Season):
        self._season, self._marks = season, {}
        if not season.settings.canopy.correct_height:
            return
        path = season.folder / DIARY_FILE
        told = [event for event in read_diary(path)[0] if event.what.lower() == HEIGHT]
        waiting = to_come(season, path, told)
        for event in told:
            if event.region not in season.regions.by_name:
                raise SettingsError(
                    f'{path}: {event.day},{event.region},{event.what}: "{event.region}" is no '
                    "region of regions.toml; a height is that of one region's plants"
                )
            height_cm = _centimetres(path, event)
            if event.line not in waiting:
                self._marks.setdefault(event.region, []).append((event.day, height_cm))

    def mark(self, region: Region) -> str:
        """What of the heights shapes a region's daily values."""
        camera = self._season.settings.cameras[region.camera]
        known = self._marks.get(region.name, [])
        return repr((camera.height_cm, known, self._season.sown(region))) if known else ""

    def correction(self, region: Region, day: date) -> Correction:
        """What a region's areas are multiplied by on a day.

        Raises
        ------
        SettingsError
            If its plants would reach the camera.
        """
        known = self._marks.get(region.name)
        if not known:
            return Correction()
        sown = self._season.sown(region)
        days, heights = zip(*[(sown, 0.0), *(m for m in known if m[0] > sown)], strict=True)
        height = float(np.interp(day.toordinal(), [d.toordinal() for d in days], heights))
        camera_cm = self._season.settings.cameras[region.camera].height_cm
        try:
            factor = 1 / canopy_height_factor(camera_cm, height)
        except PictureError as error:
            path = self._season.folder / DIARY_FILE
            raise SettingsError(f"{path}: {region.name}, {HEIGHT}: {error}") from error
        off_cm = float(np.hypot(READ_CM, UNEVEN_SHARE * height))
        return Correction(factor, 2 * off_cm / (camera_cm - height))


def _centimetres(path, event: Event) -> float:
    height_cm = event.height_cm
    if height_cm is None:
        raise SettingsError(
            f"{path}: line {event.line}: {event.day},{event.region},{event.what},{event.note}: a "
            f"height needs a length as its note, told in one way; {HOW_TO}"
        )
    return height_cm
