"""Stage: a collection -> every season measured, by the same path as ``lapsekit measure``."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from typing import Any

from lapsekit.collecting.members import Collection, Done, Member, in_turn
from lapsekit.measuring import Elsewhere, MeasureReport, measure
from lapsekit.progress import Track, silent
from lapsekit.season import Season

Held = Callable[[Season], AbstractContextManager[None]]
"""Holds a season's stage lock while it is measured."""


def measure_all(
    collection: Collection,
    held: Held,
    workers: int | None = None,
    track: Track = silent,
    elsewhere: Callable[[Member], Elsewhere] | None = None,
) -> Iterator[Done[MeasureReport]]:
    """Measure whatever waits in each season; what each came to, as it is done.

    Parameters
    ----------
    collection : Collection
    held : callable
        Holds a season's stage lock.
    workers : int, optional
        As `lapsekit.measuring.measure` has it.
    track : Track
        Told about progress, with the season's place among all in its label.
    elsewhere : callable, optional
        Gives what measures a season on other machines; all share one connection to them.

    Raises
    ------
    ClusterGone
        If those machines are gone; what came back is kept.
    """
    places = {member.key: place for place, member in enumerate(collection.members, start=1)}

    def work(season: Season, member: Member) -> MeasureReport:
        at = f"{places[member.key]} of {len(places)}, {member.key}"
        with held(season):
            return measure(season, workers, _labelled(track, at), elsewhere and elsewhere(member))

    yield from in_turn(collection, work)


def _labelled(track: Track, at: str) -> Track:
    def told(items: Iterable[Any], total: int, label: str) -> Iterator[Any]:
        return track(items, total, f"{at}: {label}")

    return told
