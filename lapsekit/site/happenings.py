"""What happened in a season, by day: acts of the diary with what followed, pauses and losses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from lapsekit.language.phrases import act_text, capital
from lapsekit.noticing import Noticed, NoticedLoss, NoticedPause
from lapsekit.site.response_words import response_text
from lapsekit.when import day_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lapsekit.diary import Event
    from lapsekit.language.words import Words
    from lapsekit.responding import EventResponse
    from lapsekit.site.almanac import Almanac
    from lapsekit.site.photographs import Photograph

ROUTINE = {"watered"}
"""Acts of every other day: told in one line for many."""

_NBSP = "\u00a0"


@dataclass(frozen=True)
class Happening:
    """One thing that happened to a plant, or to the whole bench, in words.

    Attributes
    ----------
    day : date
    kind : str
        ``act`` or ``routine`` of the diary, or what the measured curve shows: ``pause``,
        ``goes on``, ``loss``.
    region : str
        Name; empty for the whole bench.
    where, path : str
        The plant's title and its page in the site; both may be empty.
    what, note : str
        What it was, and what the grower wrote beside it.
    marks : tuple of str
        Growth stage and weight, where the note tells them.
    told : str
        What followed, or what is known of it; whole sentences.
    act : str
        An act as the diary's vocabulary has it, in small letters, whatever the site's language.
    photographs : tuple of Photograph
        Those that the grower took of it and wants shown.
    """

    day: date
    kind: str
    region: str
    where: str
    path: str
    what: str
    note: str = ""
    marks: tuple[str, ...] = ()
    told: str = ""
    act: str = ""
    photographs: tuple[Photograph, ...] = ()


def happenings(
    almanac: Almanac,
    responses: Sequence[EventResponse],
    noticed: Noticed,
    photographs: Mapping[str, Photograph],
) -> list[Happening]:
    """Everything that happened, in order of day; of a day, acts, what the curve shows, routine.

    Parameters
    ----------
    almanac : Almanac
        Whose diary is told.
    responses : sequence of EventResponse
        What followed its events; those that were not asked stand alone.
    noticed : Noticed
        Pauses and losses.
    photographs : mapping of str to Photograph
        Those of the site, by their path in the season folder.
    """
    followed = {id_of(each.event): response_text(almanac.words, each) for each in responses}
    place = _Places(almanac)
    found = [
        _act(almanac, e, followed.get(id_of(e), ""), place, _shown(e, photographs))
        for e in almanac.events
    ]
    found += [each for pause in noticed.pauses for each in _pause(almanac.words, pause, place)]
    found += [_loss(almanac.words, loss, place) for loss in noticed.losses]
    order = {"act": 0, "routine": 2}
    return sorted(found, key=lambda each: (each.day, order.get(each.kind, 1)))  # a stable sort


def id_of(event: Event) -> tuple:
    """What tells one line of the diary from another."""
    return (event.line, event.day, event.region, event.what)


class _Places:
    """Titles and pages of regions."""

    def __init__(self, almanac: Almanac):
        self._titles = {region.name: region.title for region in almanac.regions}
        self._paths = almanac.plant_paths

    def __call__(self, region: str) -> tuple[str, str, str]:
        return region, self._titles.get(region, region), self._paths.get(region, "")


def _shown(event: Event, photographs: Mapping[str, Photograph]) -> tuple[Photograph, ...]:
    """Photographs of an event, if they may be shown."""
    names = event.pictures if event.on_site else ()
    return tuple(photographs[name] for name in names if name in photographs)


def _act(
    almanac: Almanac,
    event: Event,
    followed: str,
    place: _Places,
    photographs: tuple[Photograph, ...],
) -> Happening:
    words, routine = almanac.words, event.what.lower() in ROUTINE
    return Happening(
        event.day,
        "routine" if routine else "act",
        *place(event.region),
        capital(act_text(words, event.what)),
        event.note,
        tuple(_marks(words, event)),
        followed,
        event.what.lower(),
        photographs,
    )


def _marks(words: Words, event: Event) -> Iterator[str]:
    if event.bbch is not None:
        stage, meaning = f"{event.bbch:02}", _stage(words, event.bbch // 10)
        yield words.text("growth stage BBCH {stage}: {meaning}", stage=stage, meaning=meaning)
    if event.weight_g is not None:
        yield words.text("weight {weight} g", weight=words.number(event.weight_g))


def _stage(words: Words, principal: int) -> str:
    """The principal growth stages of the BBCH scale."""
    return [
        words.text("germination"),
        words.text("leaf development"),
        words.text("side shoots"),
        words.text("stem or rosette growth"),
        words.text("harvestable parts develop"),
        words.text("inflorescence emerges"),
        words.text("flowering"),
        words.text("fruit develops"),
        words.text("ripening"),
        words.text("the end of growth"),
    ][principal]


def _pause(words: Words, found: NoticedPause, place: _Places) -> Iterator[Happening]:
    pause, where = found.pause, place(found.region)
    span = {
        "days": words.number(pause.length_days),
        "low": words.number(pause.length_low),
        "high": words.number(pause.length_high),
    }
    told = [
        words.text(
            "It stood still for {days} days ({low} to {high}), until {end}.",
            end=words.short_day(day_of(pause.end)),
            **span,
        ),
        _before(words, found.event),
        _others_paused(words, found.others_paused, found.others),
    ]
    start, end = day_of(pause.start), day_of(pause.end)
    yield Happening(
        start, "pause", *where, words.text("Growth paused"), told=" ".join(filter(None, told))
    )
    since = words.text(
        "After a pause of {days} days ({low} to {high}), which began on {start}.",
        start=words.short_day(start),
        **span,
    )
    yield Happening(end, "goes on", *where, words.text("Growth goes on"), told=since)


def _loss(words: Words, found: NoticedLoss, place: _Places) -> Happening:
    loss = found.loss
    share, low, high = (
        f"{words.number(100 * part)}{_NBSP}%"
        for part in (loss.share, loss.share_low, loss.share_high)
    )
    told = [
        words.text(
            "{share} ({low} to {high}) of it went between {since} and {day}.",
            share=share,
            low=low,
            high=high,
            since=words.short_day(day_of(loss.since)),
            day=words.short_day(day_of(loss.day)),
        ),
        _before(words, found.event),
        _others_lost(words, found.others_lost, found.others),
        _back(words, found),
    ]
    return Happening(
        day_of(loss.day),
        "loss",
        *place(found.region),
        words.text("Canopy lost at once"),
        told=" ".join(filter(None, told)),
    )


def _before(words: Words, event: Event | None) -> str:
    """What the diary says of the days before; not that it was the cause."""
    if event is None:
        return words.text("The diary says nothing of the days before.")
    return words.text(
        "Shortly before, on {day}, the diary says “{what}”.",
        what=act_text(words, event.what),
        day=words.short_day(event.day),
    )


def _others_paused(words: Words, alike: int, asked: int) -> str:
    if not asked:
        return words.text("No other plant was measured then.")
    if not alike:
        return words.counted(
            "The other plant did not pause.", "None of the {n} other plants paused.", asked
        )
    return words.counted(
        "The other plant paused too.",
        "Of {n} other plants, {alike} paused too.",
        asked,
        alike=alike,
    )


def _others_lost(words: Words, alike: int, asked: int) -> str:
    if not asked:
        return words.text("No other plant was measured then.")
    if not alike:
        return words.counted(
            "The other plant lost nothing.", "None of the {n} other plants lost any.", asked
        )
    return words.counted(
        "The other plant lost some too.",
        "Of {n} other plants, {alike} lost some too.",
        asked,
        alike=alike,
    )


def _back(words: Words, found: NoticedLoss) -> str:
    loss = found.loss
    if loss.recovered_days is None:
        return words.text("It is not back so far.")
    if loss.recovered_low is None or loss.recovered_high is None:
        return words.counted(
            "It was back after {n} day.", "It was back after {n} days.", loss.recovered_days
        )
    return words.counted(
        "It was back after {n} day ({low} to {high}).",
        "It was back after {n} days ({low} to {high}).",
        loss.recovered_days,
        low=loss.recovered_low,
        high=loss.recovered_high,
    )
