"""Stage: daily values and diary -> pauses and sudden losses of every plant, and what lay near.

A pause or a loss is told from the plant's own curve. Beside it stands what the diary says of the
days on which it began, and whether other plants of the same camera paused or lost then too: what
many have in common is the weather's, not the grower's.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from lapsekit.diary import Event, read_diary
from lapsekit.growing import Growth, grow
from lapsekit.growth.losses import Loss
from lapsekit.growth.pauses import Pause
from lapsekit.season import DIARY_FILE, Season

BEFORE_DAYS = 3
"""How long before a pause or a loss an event may lie that is named beside it."""

UNTOLD = {
    *("height", "first flower", "first fruit", "emerged", "wilted", "recovered"),
    *("watered", "camera"),
}
"""Events that are not named: what was seen, and what happens every other day."""


@dataclass(frozen=True)
class NoticedPause:
    """A region's pause, with the event before it and how many others paused in its days."""

    region: str
    pause: Pause
    event: Event | None
    others_paused: int
    others: int


@dataclass(frozen=True)
class NoticedLoss:
    """A region's sudden loss, with the event before it and how many others lost then too."""

    region: str
    loss: Loss
    event: Event | None
    others_lost: int
    others: int


@dataclass(frozen=True)
class Noticed:
    """What was noticed in a season, in order of region and time."""

    pauses: tuple[NoticedPause, ...]
    losses: tuple[NoticedLoss, ...]


def notice(season: Season, growths: Mapping[str, Growth] | None = None) -> Noticed:
    """Pauses and losses of every region with a scale.

    Parameters
    ----------
    season : Season
    growths : mapping of str to Growth, optional
        As `lapsekit.growing.grow` gives them, if the caller has them.

    Returns
    -------
    Noticed

    Raises
    ------
    SettingsError
        If the diary cannot be read.
    """
    events = read_diary(season.folder / DIARY_FILE)[0]
    asked = {name: g for name, g in (growths or grow(season)).items() if g.asked}
    plants = {r.name: asked[r.name] for r in season.regions.plants if r.name in asked}
    return Noticed(
        tuple(
            NoticedPause(
                name,
                pause,
                event_near(events, name, pause.start_low, pause.start_high),
                *_too(
                    [_overlap(p, pause) for p in other.pauses]
                    for other in _others(plants, name, pause.start, pause.end)
                ),
            )
            for name, growth in asked.items()
            for pause in growth.pauses
        ),
        tuple(
            NoticedLoss(
                name,
                loss,
                event_near(events, name, loss.since, loss.day),
                *_too(
                    [x.since < loss.day and loss.since < x.day for x in other.losses]
                    for other in _others(plants, name, loss.since, loss.day)
                ),
            )
            for name, growth in asked.items()
            for loss in growth.losses
        ),
    )


def _others(plants: Mapping[str, Growth], name: str, first: float, last: float) -> Iterator[Growth]:
    """Other plants before the same camera that were asked on days on both sides of a change.

    A picture that holds all of them has none.
    """
    camera = plants[name].region.camera if name in plants else None
    for other, growth in plants.items():
        days = growth.asked[0].day.toordinal(), growth.asked[-1].day.toordinal()
        if (
            other != name
            and growth.region.camera == camera
            and days[0] <= first
            and last <= days[1]
        ):
            yield growth


def _too(alike: Iterable[Sequence[bool]]) -> tuple[int, int]:
    """How many others show the same, and how many there are."""
    shown = [any(each) for each in alike]
    return sum(shown), len(shown)


def event_near(events: Sequence[Event], region: str, low: float, high: float) -> Event | None:
    """The last event of a region, or else of the whole bench, that may lie behind a change.

    One on the last day on which the change may have begun counts, since a diary tells no hour; one
    after it never does.
    """
    near = [
        e
        for e in events
        if e.what.lower() not in UNTOLD
        and e.region in (region, "")
        and low - BEFORE_DAYS <= e.day.toordinal() <= high
    ]
    return max(near, key=lambda e: (bool(e.region), e.day), default=None)


def _overlap(one: Pause, other: Pause) -> bool:
    """Whether two pauses share at least half of the shorter one."""
    shared = min(one.end, other.end) - max(one.start, other.start)
    return shared >= min(one.length_days, other.length_days) / 2
