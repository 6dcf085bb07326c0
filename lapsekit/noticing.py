"""Stage: daily values and diary -> pauses and sudden losses of every plant, and what lay near.

A pause or a loss is told from the plant's own curve. Beside it stands what the diary says of the
days on which it began, and whether other plants of the same camera paused or lost then too: what
many have in common is the weather's, not the grower's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from lapsekit.catalogue import Daily
from lapsekit.diary import Event, read_diary
from lapsekit.growth.losses import Loss, find_losses
from lapsekit.growth.pauses import Pause, find_pauses
from lapsekit.season import DIARY_FILE, Season

LEAST_CM2 = 5.0
"""Smaller plants are not asked: a few leaves that turn change a seedling's area by a third."""

LEAST_DAYS = 10
NORMAL = 1.96
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


def notice(season: Season) -> Noticed:
    """Pauses and losses of every region with a scale.

    Parameters
    ----------
    season : Season

    Returns
    -------
    Noticed

    Raises
    ------
    SettingsError
        If the diary cannot be read.
    """
    events = [e for e in read_diary(season.folder / DIARY_FILE)[0] if e.what.lower() not in UNTOLD]
    daily = {r.name: _asked(season.catalogue.daily(r.name)) for r in season.regions.region}
    daily = {name: rows for name, rows in daily.items() if len(rows) >= LEAST_DAYS}
    pauses = {name: find_pauses(*_series(rows), _doubtful(rows)) for name, rows in daily.items()}
    losses = {name: find_losses(*_series(rows)) for name, rows in daily.items()}
    return Noticed(
        tuple(
            NoticedPause(
                name,
                pause,
                _event_near(events, name, pause.start_low, pause.start_high),
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
                _event_near(events, name, loss.since, loss.day),
                _too(losses, name, lambda o, loss=loss: o.since < loss.day and loss.since < o.day),
                len(losses) - 1,
            )
            for name, found in losses.items()
            for loss in found
            if loss.confirmed
        ),
    )


def _asked(rows: Sequence[Daily]) -> list[Daily]:
    """Days from the first on which the plant is large enough."""
    measured = [d for d in rows if d.area_cm2 is not None]
    first = next((k for k, d in enumerate(measured) if d.area_cm2 >= LEAST_CM2), len(measured))
    return [d for d in measured[first:] if d.area_cm2 > 0]


def _series(rows: Sequence[Daily]) -> tuple[list[int], list[float], list[float]]:
    """Days, areas and their standard errors."""
    errors = [(d.area_high_cm2 - d.area_low_cm2) / 2 / NORMAL for d in rows]
    return [d.day.toordinal() for d in rows], [d.area_cm2 for d in rows], errors


def _doubtful(rows: Sequence[Daily]) -> list[bool]:
    """Days on which leaves have met a neighbour's or reached the outline."""
    return [d.crowded or bool(d.touches) for d in rows]


def _event_near(events: Sequence[Event], region: str, low: float, high: float) -> Event | None:
    """The last event of a region, or else of the whole bench, that may lie behind a change."""
    near = [
        e
        for e in events
        if e.region in (region, "") and low - BEFORE_DAYS <= e.day.toordinal() <= high + 1
    ]
    return max(near, key=lambda e: (bool(e.region), e.day), default=None)


def _too(found: Mapping[str, Sequence], name: str, same) -> int:
    """How many other regions have a change in the same days."""
    return sum(any(map(same, rows)) for other, rows in found.items() if other != name)


def _overlap(one: Pause, other: Pause) -> bool:
    """Whether two pauses share at least half of the shorter one."""
    shared = min(one.end, other.end) - max(one.start, other.start)
    return shared >= min(one.length_days, other.length_days) / 2


def day_of(moment: float) -> date:
    """The day that a moment of a curve lies on."""
    return date.fromordinal(round(moment))
