"""What a site is made of."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from lapsekit.noticing import Noticed, notice
from lapsekit.reporting import GrowthReport
from lapsekit.responding import EventResponse, responses_of
from lapsekit.season import Season
from lapsekit.site.almanac import Almanac
from lapsekit.site.blocks import Block
from lapsekit.site.cropping import Crop
from lapsekit.site.curves import PlantCurve, gathered
from lapsekit.site.digests import code_mark, mark_of
from lapsekit.site.elsewhere.data_files import season_tables
from lapsekit.site.elsewhere.gathering import season_told
from lapsekit.site.elsewhere.told import SeasonTold
from lapsekit.site.gallery import Gallery
from lapsekit.site.growth_facts import Overview, overviews
from lapsekit.site.happenings import Happening, happenings
from lapsekit.site.pairs import Pair
from lapsekit.site.photographs import Photograph
from lapsekit.site.weeks import Held
from lapsekit.tables import Table

FRONT = "index.html"
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Page:
    """One page: where it lies, its template, and what it is made of.

    Attributes
    ----------
    path, template : str
    made_of : object
        Plain values, whose `repr` says all that the page shows: it is rendered again when that
        changes (`lapsekit.site.ledger`).
    tell : callable, optional
        Makes what the template is told out of `made_of`, once the page is rendered; without it
        `made_of` is told.
    day : date, optional
        The day that the page is about.
    """

    path: str
    template: str
    made_of: Any = field(default_factory=dict)
    tell: Callable[[Any], dict[str, Any]] | None = field(default=None, repr=False, compare=False)
    day: date | None = None

    @cached_property
    def facts(self) -> dict[str, Any]:
        """What the template is told."""
        return self.made_of if self.tell is None else self.tell(self.made_of)


@dataclass(frozen=True)
class Whole:
    """Everything that pages are made of.

    Parameters
    ----------
    season, almanac, gallery
        What is told.
    films : dict of str to str
        Path in the site of each camera's film.
    growth : GrowthReport
        The season's growth.
    held : Held, optional
        The earlier season that this one is held against.
    crops : dict of str to list
        Crops through time by the name of a region or a row, as `lapsekit.site.cropping` gives them.
    rule : str, optional
        Path in the site of the canopy rule for browsers.
    photographs : dict of str to Photograph
        Those of the diary that may be shown, by their path in the season folder.
    pairs : tuple of Pair
        Followers' pictures beside the grower's plants, the latest first.
    notice : tuple of Block
        The grower's own privacy notice.
    """

    season: Season
    almanac: Almanac
    gallery: Gallery
    films: dict[str, str]
    growth: GrowthReport
    held: Held | None = None
    crops: dict[str, list[Crop]] = field(default_factory=dict)
    rule: str | None = None
    photographs: dict[str, Photograph] = field(default_factory=dict)
    pairs: tuple[Pair, ...] = ()
    notice: tuple[Block, ...] = ()

    def around(self, day: date) -> "Whole":
        """The same, knowing of this day alone, and the daily values of the one a week before."""
        return replace(self, almanac=self.almanac.only((day,), (day - WEEK,)))

    def mark_around(self, day: date) -> str:
        """Of all that `around` knows of days."""
        digests = self.almanac.digests
        return mark_of(digests.day(day), digests.values(day - WEEK))

    @cached_property
    def standing(self) -> str:
        """A mark of what is the same on every day, and of how it is said."""
        settings = self.season.settings
        table = (settings.season, settings.capture, settings.place)
        return mark_of(code_mark(), self.almanac.digests.standing, table)

    @cached_property
    def noticed(self) -> Noticed:
        """Pauses and sudden losses of every plant."""
        return notice(self.season, self.growth.growths)

    @cached_property
    def curves(self) -> tuple[PlantCurve, ...]:
        """Every plant's days and smooth curve."""
        return gathered(self.almanac, self.growth.growths)

    @cached_property
    def overviews(self) -> list[Overview]:
        """Charts of all plants, which several pages show."""
        return overviews(self.almanac, self.curves)

    @cached_property
    def told(self) -> SeasonTold:
        """What other places are told."""
        return season_told(self)

    @cached_property
    def tables(self) -> list[Table]:
        """The tables of the download."""
        sown = {region.name: self.season.sown(region) for region in self.almanac.regions}
        events = self.almanac.events
        return season_tables(
            self.growth, self.noticed, self.almanac.regions, sown, events, self.responses
        )

    @cached_property
    def responses(self) -> list[EventResponse]:
        """What followed each event of the diary that is asked for it."""
        return responses_of(self.season, values=self.growth.values)[0]

    @cached_property
    def happenings(self) -> list[Happening]:
        """What happened, in order of day."""
        return happenings(self.almanac, self.responses, self.noticed, self.photographs)
