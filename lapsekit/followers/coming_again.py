"""A picture that came before comes again with a text: its words fill what the record has none of.

Only while it waits: what is shown, or was declined, was decided on as it is.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from lapsekit.errors import ChangedMeanwhile
from lapsekit.followers.arrivals import LONGEST, Arrival, Consent, is_address
from lapsekit.followers.plants import impossible, region_of
from lapsekit.followers.receiving import bounded
from lapsekit.followers.records import Record, change, read_record
from lapsekit.followers.wordings import keep_wording
from lapsekit.locks import writing
from lapsekit.plain import one_line
from lapsekit.season import Season
from lapsekit.when import local_day, plant_age

_FIELDS = {
    "name": "name",
    "plant": "plant",
    "caption": "caption",
    "contact": "contact",
    "sown": "sown",
    "taken": "taken_on",
}
_MISSING = "what was missing was taken from a text beside the same picture"


def fill_in(season: Season, record_id: str, arrival: Arrival, told: Mapping[str, str]) -> list[str]:
    """Put into a record that waits what it has none of.

    Returns
    -------
    list of str
        Keys of the text of which the record says something else, or still nothing.

    Raises
    ------
    FollowerError
        If there is none of that id.
    ChangedMeanwhile
        If somebody decided on it meanwhile.
    """
    record = read_record(season, record_id)
    filled = _filled(season, record, arrival, told)
    if filled != record:

        def alter(now: Record) -> Record:
            if now.state != "waiting":
                raise ChangedMeanwhile(f"{record_id}: was decided on meanwhile")
            return _filled(season, now, arrival, told)

        filled = change(season, record_id, _MISSING, alter)
        if filled.consent is not None:
            with writing(season.folder, "followers"):
                keep_wording(season, filled.consent)
    return [*_differing(filled, arrival, told), *_consent_differs(filled, arrival, told)]


def _differing(record: Record, arrival: Arrival, told: Mapping[str, str]) -> dict[str, Any]:
    """By key of the text, what it says and the record does not."""
    said = {key: _said(arrival, field) for key, field in _FIELDS.items() if told.get(key)}
    return {key: v for key, v in said.items() if v and v != getattr(record, _FIELDS[key])}


def _said(arrival: Arrival, field: str) -> Any:
    """As a record would keep it."""
    value = getattr(arrival, field)
    value = one_line(value, LONGEST[field]) if isinstance(value, str) else value
    return "" if field == "contact" and not is_address(value) else value


def _consent_differs(record: Record, arrival: Arrival, told: Mapping[str, str]) -> list[str]:
    same = _who(record.consent) == _who(arrival.consent)
    return [] if same or not told.get("agreed") else ["agreed"]


def _who(consent: Consent | None) -> tuple[bool, str] | None:
    return None if consent is None else (consent.is_adult, bounded(consent).parent)


def _filled(season: Season, record: Record, arrival: Arrival, told: Mapping[str, str]) -> Record:
    if record.state != "waiting":
        return record
    new = {
        _FIELDS[key]: value
        for key, value in _differing(record, arrival, told).items()
        if not getattr(record, _FIELDS[key])
    }
    if impossible(new.get("sown"), record.taken_on, local_day(record.came_at, season.zone)):
        new.pop("sown", None)
    if "plant" in new and not record.region:
        new["region"] = region_of(new["plant"], season.regions.region)
    if "sown" in new and record.taken_on is not None:
        new["age_days"] = plant_age(record.taken_on, new["sown"])
    if record.consent is None and arrival.consent is not None:
        new |= {"consent": bounded(arrival.consent), "asked": ""}
    return replace(record, **new)
