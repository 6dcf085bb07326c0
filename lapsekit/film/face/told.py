"""What a film's face is told: plain values, whose equality says that the same is drawn."""

from dataclasses import dataclass, field
from datetime import date

from lapsekit.language.words import Words

Point = tuple[float, float]
Outline = tuple[Point, ...]


@dataclass(frozen=True)
class Named:
    """A region's name and its outline on the film's picture, in px."""

    title: str
    outline: Outline


@dataclass(frozen=True)
class Panel:
    """One of several pictures side by side; `box` is left, top, right, bottom in px."""

    title: str
    box: tuple[int, int, int, int]


@dataclass(frozen=True)
class Beat:
    """What one film picture shows.

    Attributes
    ----------
    at_days : float
        Local days since the season's first day, midnight being whole; plant age in days in a cut
        in step by plant age. Never falls from beat to beat.
    day : date or None
        Local day of the picture; None where pictures of several days stand side by side.
    age_days : int or None
        Plant age, negative before sowing; None to say none.
    clock : str
        Local time, in films of several frames a day.
    names : tuple of Named
        Regions. The same tuple for as long as the window stands still, so that it is laid out once.
    panel_ages : tuple of str
        A text for each panel, like its plant age or its day.
    """

    at_days: float
    day: date | None = None
    age_days: int | None = None
    clock: str = ""
    names: tuple[Named, ...] = ()
    panel_ages: tuple[str, ...] = ()


@dataclass(frozen=True)
class Event:
    """A line of the diary; `label` is whom it is about (empty for the whole bench)."""

    at_days: float
    text: str
    label: str = ""
    day: date | None = None


@dataclass(frozen=True)
class Curve:
    """One curve of the inset: points of day and value, in order of day."""

    title: str
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Thread:
    """The season as a line: where it begins and ends, and marks on it (day, text).

    An end that moves with every new day makes a growing film anew each time: give the planned one.
    """

    start_days: float
    end_days: float
    ticks: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class Told:
    """All that a film's face says.

    Attributes
    ----------
    words : Words
    frames_per_second : float
    beats : tuple of Beat
        One for each film picture that carries a face, in order.
    events : tuple of Event
        In order of day.
    curves : tuple of Curve
        At most four are drawn.
    unit : str
        Of the curves: ``cm²`` or ``%``.
    curve_from_days : float
        Where the curves' axis begins.
    curve_least : float
        The upright axis reaches to this value at least.
    thread : Thread or None
    panels : tuple of Panel
    date_at : str
        The corner of the day's sheet; "" for the one where it hides least.
    plants : tuple of tuple of Outline
        Where plants are on some of the pictures, in px.
    """

    words: Words
    frames_per_second: float
    beats: tuple[Beat, ...]
    events: tuple[Event, ...] = ()
    curves: tuple[Curve, ...] = ()
    unit: str = "cm²"
    curve_from_days: float = 0.0
    curve_least: float = 10.0
    thread: Thread | None = None
    panels: tuple[Panel, ...] = field(default=())
    date_at: str = ""
    plants: tuple[tuple[Outline, ...], ...] = ()
