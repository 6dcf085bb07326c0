"""Stage: daily values and diary -> what followed each event, against other plants on those days."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from lapsekit.catalogue import Daily
from lapsekit.contrasting import plants_of
from lapsekit.diary import Event
from lapsekit.growth.changes import window_around
from lapsekit.growth.plants import Plant
from lapsekit.growth.responses import Response, corrected, response
from lapsekit.happened import happened
from lapsekit.season import Season
from lapsekit.settings import Region

NEUTRAL = {"sown", "emerged", "height", "first flower", "first fruit", "camera", "watered"}
"""Events that are not asked what followed them: observations, and what happens every other day."""
WILTED, RECOVERED = "wilted", "recovered"
"""Signs of trouble: a plant that shows them is no control meanwhile."""
WILTS_WITHIN_DAYS = 3
"""A plant that wilts so soon after an act wilts of it, and is not asked again."""
ENDS_FOR_ALL = {"cold", "harvest"}
"""Events of the whole bench that strike its plants unequally: no window reaches across them."""


@dataclass(frozen=True)
class EventResponse:
    """An event of the diary and what followed; `asked` questions were corrected for."""

    event: Event
    response: Response | None
    refusal: str
    asked: int


def responses_of(
    season: Season,
    window_days: int = 7,
    level: float = 0.95,
    values: Iterable[Daily] | None = None,
) -> tuple[list[EventResponse], list[str]]:
    """What followed each event of the diary, held against other plants on the same days.

    Parameters
    ----------
    season : Season
    window_days : int
        Days before and after, as far as no other event of the same plant lies among them.
    level : float
    values : iterable of Daily, optional
        The season's daily values in order of day, if the caller has them.

    Returns
    -------
    responses : list of EventResponse
        In order of day.
    problems : list of str
        Lines of the diary that tell of nothing that happened.
    """
    events, problems = happened(season)
    plants = plants_of(season, by_age=False, values=values)
    acts = [e for e in events if e.what.lower() not in NEUTRAL | {RECOVERED}]
    acts = [e for e in acts if not (e.what.lower() == WILTED and _wilts_of(e, acts))]
    bench = [e.day.toordinal() for e in acts if not e.region and e.what.lower() in ENDS_FOR_ALL]
    own = {name: days + bench for name, days in _days_of(plants, acts).items()}
    troubled = _days_of(plants, (e for e in events if e.what.lower() not in NEUTRAL))
    known = season.regions.by_name
    answered = [(e, _answer(e, known, plants, own, troubled, window_days, level)) for e in acts]
    held = corrected([answer for _, answer in answered if isinstance(answer, Response)])
    asked = sum(effect is not None for r in held for effect in (r.rate, r.step))
    found = iter(held)
    told = []
    for event, answer in answered:
        is_response = isinstance(answer, Response)
        told_of = next(found) if is_response else None
        told.append(EventResponse(event, told_of, told_of.refusal if told_of else answer, asked))
    return told, problems


def _days_of(plants: dict[str, Plant], events: Iterable[Event]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {name: [] for name in plants}
    for event in events:
        if event.region in found:
            found[event.region].append(event.day.toordinal())
    return found


def _wilts_of(event: Event, acts: Iterable[Event]) -> bool:
    return any(
        act.region == event.region
        and act.what.lower() != WILTED
        and 0 <= (event.day - act.day).days <= WILTS_WITHIN_DAYS
        for act in acts
        if event.region
    )


def _answer(
    event: Event,
    known: Mapping[str, Region],
    plants: dict[str, Plant],
    own: dict[str, list[int]],
    troubled: dict[str, list[int]],
    window_days: int,
    level: float,
) -> Response | str:
    if not event.region:
        return "the whole bench had it: nothing is left to tell it from the weather"
    if event.region not in known:
        return f'"{event.region}" is no region of regions.toml'
    if event.region not in plants:
        return f'"{event.region}" is the whole picture: all plants of its camera lie in it'
    window = window_around(event.day.toordinal(), window_days, own[event.region])
    others = [
        plant
        for name, plant in plants.items()
        if name != event.region
        and not any(window.first <= day <= window.last for day in troubled[name])
    ]
    return response([plants[event.region]], others, window, level)
