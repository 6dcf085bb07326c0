"""What the other places are told of a season, as frozen values."""

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True)
class PictureFile:
    """A JPEG of a daily picture: its path in the site, its size in px, its length in bytes."""

    path: str
    width: int
    height: int
    length: int


@dataclass(frozen=True)
class PictureTold:
    """One camera's picture of a day; `files` run from small to large, `alt` says what is seen."""

    camera: str
    taken_at: datetime
    files: tuple[PictureFile, ...]
    alt: str

    @property
    def largest(self) -> PictureFile:
        """The largest file."""
        return self.files[-1]


@dataclass(frozen=True)
class PlantTold:
    """A region, or a group's mean, on one day.

    Attributes
    ----------
    name, title, group
        As regions.toml has them; `group` is empty without one.
    unit : str
        ``cm²``, or ``%`` of the region where no scale is known.
    age_days : int
        Days since it was sown.
    value, low, high : float or None
        In `unit`, with its 95 % interval; None where there is none.
    before : float or None
        The same seven days earlier.
    alike : bool
        Whether the intervals of both days overlap so widely that no change is seen.
    doubt, doubt_before : float or None
        Half-width, in `unit`, of the interval that the value has in a sum with all other plants:
        what is only in doubt between two that meet is not in doubt there.
    frames_used : int
        How many frames the value rests on.
    is_plant : bool
        Whether it is added up with others; not so a whole picture that holds them.
    """

    name: str
    title: str
    group: str
    unit: str
    age_days: int
    value: float | None
    low: float | None
    high: float | None
    before: float | None
    alike: bool
    doubt: float | None
    doubt_before: float | None
    frames_used: int
    is_plant: bool

    @property
    def change(self) -> float | None:
        """What was added in seven days, in `unit`; None where either day has no value."""
        if self.value is None or self.before is None:
            return None
        return self.value - self.before

    @property
    def change_share(self) -> float | None:
        """The same as a share of what was there, None where nothing was."""
        return self.change / self.before if self.change is not None and self.before else None


@dataclass(frozen=True)
class EventTold:
    """A line of the diary.

    `what` is as it was written, ``potted on``; `said` as the pages say it, ``potted on (Basil)``.
    `region` is empty for the whole bench.
    """

    day: date
    region: str
    what: str
    said: str
    note: str


@dataclass(frozen=True)
class DayTold:
    """A day with a picture.

    `rows` is what the day's table lists, groups folded; `plants` every region by itself.
    """

    day: date
    age_days: int
    pictures: tuple[PictureTold, ...]
    rows: tuple[PlantTold, ...]
    plants: tuple[PlantTold, ...]
    events: tuple[EventTold, ...]

    @property
    def picture(self) -> PictureTold:
        """The main camera's picture."""
        return self.pictures[0]


@dataclass(frozen=True)
class SeasonTold:
    """A season.

    Attributes
    ----------
    own_name : str
        The name that only this season has, and that never changes; ids are made of it.
    address : str or None
        Public address of the site, ending in ``/``.
    days : tuple of DayTold
        The last days that have a picture, in order; feeds tell no more than these.
    first_day : date or None
        First day with a picture.
    events : tuple of EventTold
        The whole diary, in order of day.
    """

    own_name: str
    title: str
    about: str
    sown: date
    language: str
    address: str | None
    first_day: date | None
    days: tuple[DayTold, ...]
    events: tuple[EventTold, ...]

    @property
    def latest(self) -> DayTold | None:
        """The latest day with a picture."""
        return self.days[-1] if self.days else None
