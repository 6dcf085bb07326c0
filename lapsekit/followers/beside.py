"""The text beside a picture of the grower's: lines ``name: Ada`` -> what was told with it."""

import hashlib
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path

from lapsekit.errors import FollowerError
from lapsekit.followers.arrivals import Arrival, Consent
from lapsekit.followers.told_lines import day_told, yes_or_no
from lapsekit.followers.wordings import wording
from lapsekit.season import Season
from lapsekit.when import local_day

MOST_BYTES = 100_000
_KEYS = (
    "name",
    "plant",
    "sown",
    "taken",
    "caption",
    "contact",
    "language",
    "agreed",
    "of age",
    "parent",
)


def told_in(file: Path, data: bytes) -> dict[str, str]:
    """Lines ``key: value`` of a text.

    Raises
    ------
    FollowerError
        If a line is none; says which, and what can be told.
    """
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise FollowerError(
            f"{file}: cannot be read ({error}); save it as text in UTF-8"
        ) from error
    told = {}
    for number, line in enumerate(lines, start=1):
        key, colon, value = line.partition(":")
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        if not colon or key.strip().lower() not in _KEYS:
            raise FollowerError(
                f'{file}: line {number} "{line[:60]}": write lines like name: Ada; known are '
                f"{', '.join(_KEYS)}"
            )
        told[key.strip().lower()] = value.strip()
    return told


def arrival_of(
    season: Season, picture: Path, data: bytes, text: Path | None, told: Mapping[str, str]
) -> Arrival:
    """What came in: a picture, and what the text beside it told.

    Raises
    ------
    FollowerError
        If what it tells cannot be.
    """
    now = season.clock()
    today = local_day(now, season.zone)
    return Arrival(
        data=data,
        came_at=now,
        by="folder",
        source=f"folder {hashlib.sha256(data).hexdigest()}",
        file_name=picture.name,
        name=told.get("name", ""),
        plant=told.get("plant", ""),
        sown=_day(text, told, "sown", today),
        taken_on=_day(text, told, "taken", today),
        caption=told.get("caption", ""),
        contact=told.get("contact", ""),
        language=told.get("language", season.settings.site.language),
        consent=_consent(season, text, told, now),
    )


def _day(text: Path | None, told: Mapping[str, str], key: str, today: date) -> date | None:
    said = told.get(key, "")
    day = day_told(said, today)
    if said and day is None:
        raise FollowerError(f'{text}: {key}: "{said[:40]}" is no day; write one like 2031-04-17')
    return day


def _consent(
    season: Season, text: Path | None, told: Mapping[str, str], now: datetime
) -> Consent | None:
    agreed = told.get("agreed", "")
    has_agreed = yes_or_no(agreed) if agreed else False
    if has_agreed is None:
        raise FollowerError(
            f'{text}: agreed: "{agreed[:40]}": write yes if whoever sent it agreed to the consent '
            "text, and no otherwise; for a child, parent: NAME too"
        )
    if text is None or not has_agreed:
        return None
    is_adult, parent = yes_or_no(told.get("of age", "")), told.get("parent", "")
    if not is_adult and not parent:
        raise FollowerError(f"{text}: who agreed? Write of age: yes; for a child parent: NAME")
    words = wording(season, told.get("language", season.settings.site.language))
    return Consent(
        wording=words.version,
        language=words.language,
        agreed_at=now,
        how=f"told by the grower in {text.name}",
        is_adult=not parent,
        parent=parent,
    )
