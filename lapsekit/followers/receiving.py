"""Stage: what came in, by whichever way -> a record that waits for the grower."""

import hashlib
import re
from dataclasses import dataclass, replace
from datetime import date

from lapsekit.errors import SettingsError
from lapsekit.followers import reasons
from lapsekit.followers.arrivals import LONGEST, Arrival, Consent, is_address
from lapsekit.followers.codes import Seen, code_hash, new_code
from lapsekit.followers.making import jpeg_of
from lapsekit.followers.opening import Opened, Refused, open_picture
from lapsekit.followers.plants import dates, region_of
from lapsekit.followers.records import (
    Happening,
    PictureFacts,
    Record,
    add_record,
    new_id,
    records,
    writing,
)
from lapsekit.followers.speaking import words_for
from lapsekit.followers.wordings import keep_wording
from lapsekit.plain import one_line
from lapsekit.season import Season
from lapsekit.when import local_day

_TOLD = ("file_name", "name", "plant", "caption", "contact")
_LANGUAGE = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})?")


@dataclass(frozen=True, kw_only=True)
class Received:
    """What became of an arrival.

    Attributes
    ----------
    id : str or None
        Of the record that waits now, or that the same arrival made before (if it is still there).
    code : str or None
        The take-down code, told here once: only its hash is kept. None for what was known.
    refused : str or None
        Why nothing was kept, in a sentence for whoever sent it, in their language where it is
        known.
    is_known : bool
        The same arrival came before; nothing was done.
    is_for_now : bool
        It was refused only for now (too many wait): it may come again.
    notes : tuple of str
        What was dropped or doubtful, for the grower; also on the record.
    """

    id: str | None = None
    code: str | None = None
    refused: str | None = None
    is_known: bool = False
    is_for_now: bool = False
    notes: tuple[str, ...] = ()


def take_in(season: Season, arrival: Arrival) -> Received:
    """Open a picture in a process of its own, and keep its pixels until the grower decides.

    Parameters
    ----------
    season : Season
    arrival : Arrival
        Any bytes, and a stranger's words.

    Returns
    -------
    Received
        Whatever the bytes are.

    Raises
    ------
    SettingsError
        If season.toml does not say whom followers can turn to.
    MissingExtra
        If this machine has nothing to confine the process with that opens pictures.
    SeasonBusy
        If the season's texts are held for long.
    """
    if season.settings.followers.contact is None:
        raise SettingsError(
            f"{season.folder}: followers.contact is missing in season.toml, so nothing is taken "
            "in; write whom followers can turn to, and how"
        )
    with writing(season):
        before = _before(season, arrival, Seen(season))
    if before is not None:
        return before
    try:
        opened = open_picture(arrival.data, season.settings.followers.largest_side_px)
    except Refused as refused:
        return _refused(season, arrival, refused.code)
    record, picture = _record(season, arrival, opened)
    with writing(season):
        return _filed(season, arrival, record, picture)


def _before(season: Season, arrival: Arrival, seen: Seen) -> Received | None:
    """What there is to say of an arrival without looking at its bytes."""
    source_hash = seen.hash_of(arrival.source)
    there = next((r.id for r in records(season) if r.source_hash == source_hash), None)
    if there is not None or seen.holds(source_hash):
        return Received(id=there, is_known=True)
    wanted = season.settings.followers
    consent = arrival.consent
    if consent is not None and not consent.is_adult and wanted.minors == "never":
        return _refused(season, arrival, reasons.NO_MINORS)
    if len(records(season, "waiting")) >= wanted.most_waiting:
        return replace(_refused(season, arrival, reasons.TOO_MANY), is_for_now=True)
    return None


def _refused(season: Season, arrival: Arrival, reason: int) -> Received:
    return Received(refused=reasons.sentence(reason, words_for(season, arrival.language)))


def _filed(season: Season, arrival: Arrival, record: Record, picture: bytes) -> Received:
    """File a record; the caller holds the lock for texts, and looked before it opened."""
    seen = Seen(season)
    before = _before(season, arrival, seen)
    if before is not None:
        return before
    code, source_hash = new_code(), seen.hash_of(arrival.source)
    near = _near(record, records(season))
    record = replace(
        record, code_hash=code_hash(code, seen.salt), source_hash=source_hash, near=near
    )
    if record.consent is not None:
        keep_wording(season, record.consent)
    if not seen.holds_salt:
        seen.write()  # codes and sources are hashed with it
    add_record(season, record, picture)
    seen.add(source_hash)  # afterwards: a record knows its source too, so that nothing is lost
    return Received(id=record.id, code=code, notes=record.notes)


def _near(record: Record, others: list[Record]) -> tuple[str, ...]:
    from lapsekit.vision.fingerprint import NEAR_BITS, bits_apart

    told = [r for r in others if r.likeness]
    return tuple(r.id for r in told if bits_apart(r.likeness, record.likeness) <= NEAR_BITS)


def _record(season: Season, arrival: Arrival, opened: Opened) -> tuple[Record, bytes]:
    """A record of an arrival, without what needs the lock."""
    picture = jpeg_of(opened.width, opened.height, opened.pixels)
    facts = PictureFacts(opened.width, opened.height, hashlib.sha256(picture).hexdigest())
    told = {name: one_line(getattr(arrival, name), LONGEST[name]) for name in _TOLD}
    if not is_address(told["contact"]):
        told["contact"] = ""
    language = arrival.language if _LANGUAGE.fullmatch(arrival.language) else "en"
    came_on: date = local_day(arrival.came_at, season.zone)
    days = dates(arrival.sown, arrival.taken_on, opened.taken_on, came_on)
    record = Record(
        **told,
        id=new_id(),
        state="waiting",
        came_at=arrival.came_at,
        by=arrival.by,
        language=language,
        region=region_of(told["plant"], season.regions.region),
        sown=days.sown,
        taken_on=days.taken_on,
        age_days=days.age_days,
        consent=None if arrival.consent is None else bounded(arrival.consent),
        picture=facts,
        likeness=_likeness(opened),
        notes=tuple(days.notes),
        history=(Happening(season.clock(), f"came by {arrival.by}"),),
    )
    return record, picture


def bounded(consent: Consent) -> Consent:
    """A consent whose words have a bounded length and stand on one line."""
    return replace(
        consent,
        parent=one_line(consent.parent, LONGEST["parent"]),
        how=one_line(consent.how, LONGEST["how"]),
    )


def _likeness(opened: Opened) -> str:
    import numpy as np

    from lapsekit.vision.fingerprint import fingerprint

    flat = np.frombuffer(opened.pixels, np.uint8)
    return fingerprint(flat.reshape(opened.height, opened.width, 3))
