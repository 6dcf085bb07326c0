"""Stage: daily values and diary -> pauses and sudden losses of every plant, and what lay near.

A pause or a loss is told from the plant's own curve. Beside it stands what the diary says of the
days on which it began, and whether other plants of the same camera paused or lost then too: what
many have in common is the weather's, not the grower's.
"""

from collections.abc import Mapping, Sequence
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
    pauses = {name: growth.pauses for name, growth in asked.items()}
    losses = {name: growth.losses for name, growth in asked.items()}
    return Noticed(
        tuple(
            NoticedPause(
                name,
                pause,
                event_near(events, name, pause.start_low, pause.start_high),
                _too(pauses, name, lambda p, pause=pause: _overlap(p, pause)),
                len(pauses) - 1,
            )
            for name, found in pauses.items()
            for pause in found
        ),
        tuple(
            NoticedLoss(
                name,
                loss,
                event_near(events, name, loss.since, loss.day),
                _too(losses, name, lambda o, loss=loss: o.since < loss.day and loss.since < o.day),
                len(losses) - 1,
            )
            for name, found in losses.items()
            for loss in found
        ),
    )


def event_near(events: Sequence[Event], region: str, low: float, high: float) -> Event | None:
    """The last event of a region, or else of the whole bench, that may lie behind a change."""
    near = [
        e
        for e in events
        if e.what.lower() not in UNTOLD
        and e.region in (region, "")
        and low - BEFORE_DAYS <= e.day.toordinal() <= high + 1
    ]
    return max(near, key=lambda e: (bool(e.region), e.day), default=None)


def _too(found: Mapping[str, Sequence], name: str, same) -> int:
    """How many other regions have a change in the same days."""
    return sum(any(map(same, rows)) for other, rows in found.items() if other != name)


def _overlap(one: Pause, other: Pause) -> bool:
    """Whether two pauses share at least half of the shorter one."""
    shared = min(one.end, other.end) - max(one.start, other.start)
    return shared >= min(one.length_days, other.length_days) / 2
