"""What the grower, or the follower, decides of a picture; every decision is noted in its record."""

import hashlib
from dataclasses import replace
from datetime import date
from typing import Literal

from lapsekit.errors import ChangedMeanwhile, FollowerError
from lapsekit.followers.areas import Areas, with_areas
from lapsekit.followers.arrivals import LONGEST, Consent
from lapsekit.followers.codes import Seen, as_code, code_hash, new_code, record_with_code, struck
from lapsekit.followers.gone import WAS_TAKEN_DOWN, forget
from lapsekit.followers.making import blurred, sound
from lapsekit.followers.plants import impossible
from lapsekit.followers.receiving import bounded
from lapsekit.followers.records import (
    PICTURE,
    Record,
    change,
    place_of,
    read_record,
    records,
    write_picture,
    write_record,
    writing,
)
from lapsekit.followers.wordings import keep_wording
from lapsekit.plain import one_line
from lapsekit.season import Season
from lapsekit.when import local_day, plant_age

_SEEN = ("name", "plant", "region", "caption", "sown", "taken_on", "age_days")


def cannot_be_shown(season: Season, record: Record) -> str | None:
    """Why a picture must not be shown, in words; None if it may be, once the grower says yes."""
    consent = record.consent
    if consent is None:
        return "nobody agreed to its being shown; ask whoever sent it"
    if not consent.is_adult and season.settings.followers.minors == "never":
        return 'whoever sent it is not of age, and followers.minors is "never"'
    if not consent.is_adult and not consent.parent.strip():
        return "whoever sent it is not of age, and no parent agreed; ask for one"
    if record.is_confirmed is False:
        return "whoever sent it has not confirmed by answering that the mail address is theirs"
    return None


def mark_of(record: Record) -> str:
    """Changes with anything that a yes is said to: picture, words, days, and the consent."""
    told = [getattr(record, name) for name in _SEEN]
    seen = repr((told, record.picture.sha256, record.crop, record.blurred, record.consent))
    return hashlib.sha256(seen.encode(errors="replace")).hexdigest()[:32]


def show(
    season: Season, record_id: str, seen: str | None = None, areas: Areas | None = None
) -> Record:
    """Say yes: the next site shows it. What was to be blurred is blurred for good now.

    Parameters
    ----------
    season : Season
    record_id : str
    seen : str or None
        `mark_of` what the grower looked at; None where nobody looked at it before.
    areas : Areas or None
        The part and the blurred areas that it is shown with; None for those kept before.

    Raises
    ------
    FollowerError
        If nobody agreed to it, or a minor without a parent, or the sender did not confirm, or an
        area cannot be.
    ChangedMeanwhile
        If it is not any more what was seen.
    """

    def alter(record: Record) -> Record:
        why = cannot_be_shown(season, record)
        if why:
            raise FollowerError(f"{record.id} cannot be shown: {why}")
        _require_seen(record, seen, "it is not shown; look at it again, then say yes")
        made = record if areas is None else with_areas(record, areas)
        return replace(made, state="shown", decided_at=season.clock(), asked="")

    change(season, record_id, "shown", alter)
    return burn(season, record_id)


def _require_seen(record: Record, seen: str | None, so: str) -> None:
    if seen is not None and seen != mark_of(record):
        raise ChangedMeanwhile(
            f"{record.id}: picture, words or consent changed since you looked at it, so {so}"
        )


def decline(season: Season, record_id: str) -> Record:
    """Say no; it is deleted after ``keep_declined_days``."""
    now = season.clock()
    return change(
        season,
        record_id,
        "declined",
        lambda record: replace(record, state="declined", decided_at=now, asked=""),
    )


def back_to_waiting(season: Season, record_id: str) -> Record:
    """Take a yes or a no back."""
    return change(
        season,
        record_id,
        "waits again",
        lambda record: replace(record, state="waiting", decided_at=None),
    )


def ask_again(season: Season, record_id: str, what: str) -> Record:
    """Note what is asked of the sender (`what`: ``consent``, or words of the grower's)."""
    asked = one_line(what, LONGEST["caption"])
    return change(season, record_id, "asked again", lambda record: replace(record, asked=asked))


def answer_sent(season: Season, record_id: str, number: int) -> Record:
    """Note that the grower sent an answer by hand; its code and token are struck out.

    Parameters
    ----------
    season : Season
    record_id : str
    number : int
        Place in `Record.answers`, from 0.

    Raises
    ------
    FollowerError
        If there is no such answer, or it was sent before.
    """

    def alter(record: Record) -> Record:
        answers = list(record.answers)
        if not 0 <= number < len(answers) or answers[number].sent_at is not None:
            raise FollowerError(f"{record.id}: answer {number} is not there, or was sent before")
        answer = answers[number]
        answers[number] = replace(answer, text=struck(answer.text), sent_at=season.clock())
        return replace(record, answers=tuple(answers))

    return change(season, record_id, "an answer was sent by hand", alter)


def keep_areas(season: Season, record_id: str, areas: Areas, seen: str | None = None) -> Record:
    """Show just this part and blur these areas: for good once it is shown, at once if it is.

    What lies beside the part stays in the season folder, so that it can be undone: what nobody
    shall see any more is to be blurred. `seen` is as for `show`: a page that is out of date must
    not take back what another page kept.

    Raises
    ------
    FollowerError
        If an area cannot be; see `with_areas`.
    ChangedMeanwhile
        If it is not any more what was seen.
    """

    def alter(record: Record) -> Record:
        _require_seen(record, seen, "nothing is kept; look at it again, then draw anew")
        return with_areas(record, areas)

    told = f"{'cropped' if areas.crop else 'whole'}, {len(areas.blurred)} areas to be blurred"
    record = change(season, record_id, told, alter)
    return burn(season, record_id) if record.state == "shown" else record


def burn(season: Season, record_id: str) -> Record:
    """Blur for good what a shown picture has to be blurred; what was there is nowhere any more.

    Until it is done, readers get the picture blurred all the same; cut off, it is done again.

    Raises
    ------
    FollowerError
        If there is none of that id, or its picture is damaged.
    """
    with writing(season):
        record = read_record(season, record_id)
        if record.state != "shown" or not record.blurred:
            return record
        folder = place_of(season, record_id)
        with sound(record_id):
            picture = blurred((folder / PICTURE).read_bytes(), record.blurred)
        write_picture(folder, picture)
        facts = replace(record.picture, sha256=hashlib.sha256(picture).hexdigest())
        record = replace(record, picture=facts, blurred=())
        write_record(folder, record)
    return record


def correct(
    season: Season,
    record_id: str,
    *,
    caption: str | None = None,
    name: str | None = None,
    plant: str | None = None,
    region: str | None = None,
    sown: date | Literal[""] | None = None,
    taken_on: date | Literal[""] | None = None,
    unless_shown: bool = False,
) -> Record:
    """Correct what was told; None leaves it as it is, "" empties it.

    With `unless_shown`, a picture that is shown stays as the grower saw it.

    Raises
    ------
    FollowerError
        If there is no such region, or a day cannot be.
    ChangedMeanwhile
        If it is shown, and `unless_shown`.
    """
    texts = {"caption": caption, "name": name, "plant": plant}
    told = {key: one_line(text, LONGEST[key]) for key, text in texts.items() if text is not None}
    if region is not None:
        if region and region not in season.regions.by_name:
            known = ", ".join(season.regions.by_name) or "none yet"
            raise FollowerError(f'region "{region}" is none of regions.toml; it has {known}')
        told["region"] = region
    days = {"sown": sown, "taken_on": taken_on}
    told |= {key: day or None for key, day in days.items() if day is not None}

    def alter(record: Record) -> Record:
        if unless_shown and record.state == "shown":
            raise ChangedMeanwhile(
                f"{record.id}: is shown, and stays as it was seen; undo the yes first"
            )
        made = replace(record, **told)
        came_on = local_day(record.came_at, season.zone)
        if "taken_on" in told and made.taken_on is None:
            made = replace(made, taken_on=came_on)
        why = {"sown", "taken_on"} & told.keys() and impossible(made.sown, made.taken_on, came_on)
        if why:
            raise FollowerError(f"{record.id}: {why}")
        both = made.sown is not None and made.taken_on is not None
        return replace(made, age_days=plant_age(made.taken_on, made.sown) if both else None)

    return change(season, record_id, f"corrected: {', '.join(told)}" if told else "", alter)


def agree(season: Season, record_id: str, consent: Consent) -> Record:
    """Note that somebody agreed after all."""
    record = change(
        season,
        record_id,
        "somebody agreed to its being shown",
        lambda record: replace(record, consent=bounded(consent), asked=""),
    )
    with writing(season):
        keep_wording(season, consent)
    return record


def renew_code(season: Season, record_id: str) -> str:
    """A new take-down code, told here once; the one before is void."""
    code = new_code()
    kept = code_hash(code, Seen(season).salt)
    change(season, record_id, "new take-down code", lambda record: replace(record, code_hash=kept))
    return code


def take_down(season: Season, code: str) -> str | None:
    """Delete the picture that a take-down code belongs to, at once.

    Parameters
    ----------
    season : Season
    code : str
        As somebody typed it. Whoever lets strangers try codes bounds how often they may.

    Returns
    -------
    str or None
        Its id; None where no picture (any more) has this code.
    """
    known = as_code(code)
    found = None if known is None else _with_code(season, known)
    if found is not None:
        take_down_by_id(season, found.id)
    return None if found is None else found.id


def _with_code(season: Season, code: str) -> Record | None:
    """The record of a code; one that was moved while we looked is found at the second look."""
    found = record_with_code(code, records(season))
    if found is None:
        with writing(season):
            found = record_with_code(code, records(season))
    return found


def take_down_by_id(season: Season, record_id: str) -> None:
    """Delete a picture at once, whatever it was; its id stays in ``followers/taken-down.csv``.

    Raises
    ------
    FollowerError
        If there is none of that id.
    """
    forget(season, record_id, WAS_TAKEN_DOWN)
