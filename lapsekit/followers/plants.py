"""What a follower told of a plant -> its region, its days; doubtful days are dropped. Pure."""

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from lapsekit.settings import Region
from lapsekit.when import plant_age

MOST_DAYS = 400
"""A season's plant is not older, and a picture of it neither."""

_ALIKE = 0.8
_CLOCKS_DIFFER = timedelta(days=1)  # a follower far to the east is a day ahead


@dataclass
class Dates:
    """Days of a picture: when the plant was sown, when it was taken, and what was dropped."""

    sown: date | None
    taken_on: date
    notes: list[str] = field(default_factory=list)

    @property
    def age_days(self) -> int | None:
        """Plant age in days; None without a sowing date."""
        return None if self.sown is None else plant_age(self.taken_on, self.sown)


def dates(sown: date | None, told: date | None, camera: date | None, came_on: date) -> Dates:
    """The days of a picture, as far as they can be.

    Parameters
    ----------
    sown, told, camera : date or None
        When it was sown, and taken, as told; when it was taken as its EXIF says.
    came_on : date
        The day it came on, which counts where nothing else does.

    Returns
    -------
    Dates
        Its notes say, for the grower, what was dropped and why.
    """
    notes = []
    for day, whose in ((told, "as told"), (camera, "by its camera")):
        why = impossible(None, day, came_on)
        if why:
            notes.append(f"a day was dropped ({whose}): {why}")
    possible = (day for day in (told, camera) if day and not impossible(None, day, came_on))
    taken_on = next(possible, came_on)
    why = impossible(sown, taken_on, came_on)
    if why:
        notes.append(f"the sowing day was dropped: {why}")
    return Dates(None if why else sown, taken_on, notes)


def impossible(sown: date | None, taken_on: date | None, came_on: date) -> str:
    """Why days cannot be right, in words; "" if they can."""
    if taken_on is not None and taken_on > came_on + _CLOCKS_DIFFER:
        return f"taken on {taken_on}, and the picture came on {came_on}"
    if taken_on is not None and plant_age(came_on, taken_on) > MOST_DAYS:
        return f"taken on {taken_on}, more than {MOST_DAYS} days before it came ({came_on})"
    shown_on = taken_on or came_on
    if sown is not None and sown > shown_on:
        return f"sown on {sown}, and the picture was taken before that, on {shown_on}"
    if sown is not None and plant_age(shown_on, sown) > MOST_DAYS:
        return f"sown on {sown}, more than {MOST_DAYS} days before the picture ({shown_on})"
    return ""


def region_of(plant: str, regions: Sequence[Region]) -> str:
    """Name of the region that a follower's word for a plant means; "" where that is not sure.

    Its name or title, one of them within what was told (``our basil``), or close to it
    (``Basill``); where two regions fit as well, none is chosen.
    """
    told = _plain(plant)
    if not told:
        return ""
    known = [({_plain(r.name), _plain(r.title)}, r.name) for r in regions]
    for fits in (
        lambda words: told in words,
        lambda words: any(re.search(rf"\b{re.escape(word)}\b", told) for word in words if word),
        lambda words: bool(difflib.get_close_matches(told, words, 1, _ALIKE)),
    ):
        found = [name for words, name in known if fits(words)]
        if found:
            return found[0] if len(found) == 1 else ""
    return ""


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[\W_]+", " ", text.casefold()).split())
