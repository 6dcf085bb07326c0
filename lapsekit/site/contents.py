"""What a site is made of."""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from lapsekit.noticing import Noticed, notice
from lapsekit.reporting import GrowthReport
from lapsekit.responding import EventResponse, responses_of
from lapsekit.season import Season
from lapsekit.site.almanac import Almanac
from lapsekit.site.cropping import Crop
from lapsekit.site.curves import PlantCurve, gathered
from lapsekit.site.elsewhere.data_files import season_tables
from lapsekit.site.elsewhere.gathering import season_told
from lapsekit.site.elsewhere.told import SeasonTold
from lapsekit.site.gallery import Gallery
from lapsekit.site.growth_facts import Overview, overviews
from lapsekit.site.happenings import Happening, happenings
from lapsekit.site.weeks import Held
from lapsekit.tables import Table

FRONT = "index.html"


@dataclass(frozen=True)
class Page:
    """One page: where it lies, its template, and what that is told.

    `facts` are plain values, whose `repr` says all that they are: a page is rendered again when
    it changes (`lapsekit.site.ledger`).
    """

    path: str
    template: str
    facts: dict[str, Any] = field(default_factory=dict)


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
    """

    season: Season
    almanac: Almanac
    gallery: Gallery
    films: dict[str, str]
    growth: GrowthReport
    held: Held | None = None
    crops: dict[str, list[Crop]] = field(default_factory=dict)
    rule: str | None = None

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
        return happenings(self.almanac, self.responses, self.noticed)
