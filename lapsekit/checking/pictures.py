"""How frames look: left out, softer than they were, hazed, moved."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from math import hypot
from statistics import median

from lapsekit.catalogue import NOT_WATCHED
from lapsekit.checking.finding import FINE, RECENT_DAYS, WATCH, WRONG, Finding, Look

MOVED_PX = 20.0
"""Shift of the view from which outlines are worth a look; frames are still put back."""

LEFT_OUT = 0.5
"""Share of recent frames left out from which something is wrong with them."""

SOFTER = 0.85
"""Share of their early sharpness that frames keep, or the lens is worth a look."""

_SHARP_FRAMES, _EARLY_DAYS, _SOFT_DAYS = 5, 14, 3
_HAZED_SHARE = 1 / 4


def left_out(look: Look) -> Iterator[Finding]:
    """Whether most of the last days' frames could not be used.

    Those that only wait for others, beside which they can be looked through, are not counted.
    """
    for name in look.season.settings.cameras:
        since = look.now - timedelta(days=RECENT_DAYS)
        recent = [screening for _, screening in look.season.catalogue.screenings_from(name, since)]
        bad = sum(bool(set(screening.reasons) - {NOT_WATCHED}) for screening in recent)
        if recent and bad > LEFT_OUT * len(recent):
            yield Finding(
                f"pictures of {name}",
                WRONG,
                f"{bad} of {len(recent)} frames of the last {RECENT_DAYS} days were left out; "
                "lapsekit frames says why",
            )


def sharpness(look: Look) -> Iterator[Finding]:
    """Whether frames have become softer since the season's first weeks.

    Screening holds a frame against those of the days before it, and cannot see a lens that grows
    dim from week to week.
    """
    for name in look.season.settings.cameras:
        first, last = (look.season.catalogue.usable_day(name, which) for which in (False, True))
        if first is None or last is None:
            continue
        early = _sharp(look, name, first, first + timedelta(days=_EARLY_DAYS - 1))
        recent = _sharp(look, name, last - timedelta(days=_SOFT_DAYS - 1), last)
        if min(len(early), len(recent)) < _SHARP_FRAMES:
            continue
        now, before = median(recent), median(early)
        told = f"{now:.2f}, in the first {_EARLY_DAYS} days {before:.2f} (1 is sharp)"
        soft = now < SOFTER * before
        more = "; wipe the lens, check the focus" if soft else ""
        yield Finding(f"sharpness of {name}", WATCH if soft else FINE, told + more)


def _sharp(look: Look, camera: str, first: date, last: date) -> list[float]:
    """Sharpness of a span's usable frames."""
    found = look.season.catalogue.screenings(camera, since=first, until=last)
    return [1 - s.blur for _, s in found if s.blur is not None and not s.reasons]


def dew(look: Look) -> Iterator[Finding]:
    """Dew or haze on so many days in a row as ``dew_days`` says, up to the last days."""
    limit = look.season.settings.alerts.dew_days
    for name, rows in look.screenings(limit):
        hazed: dict[date, list[bool]] = {}
        for frame, screening in rows:
            hazed.setdefault(frame.day, []).append("hazed" in screening.reasons)
        days = sorted(hazed)[-limit:]
        in_a_row = len(days) == limit and (days[-1] - days[0]).days == limit - 1
        is_recent = bool(days) and (look.season.day_of(look.now) - days[-1]).days <= 2
        if in_a_row and is_recent and all(_is_hazed(hazed[day]) for day in days):
            yield Finding(
                f"lens of {name}",
                WRONG,
                f"dew or haze on {limit} days in a row; wipe it, and let air to it or warm it a "
                "little. The lens of a lamp or camera in use may be hot",
            )


def _is_hazed(frames: list[bool]) -> bool:
    return sum(frames) >= _HAZED_SHARE * len(frames)


def view(look: Look) -> Iterator[Finding]:
    """How far the view has moved from the reference view."""
    for name in look.season.settings.cameras:
        placed = look.season.catalogue.last_placed(name, 3)
        if not placed:
            continue
        shift = median(hypot(p.matrix[2], p.matrix[5]) for p in placed)
        moved = shift > MOVED_PX
        told = f"{shift:.1f} px from the reference view at its corner"
        if moved:
            told += "; has the camera been knocked? Frames are put back, look at lapsekit explain"
        yield Finding(f"view of {name}", WATCH if moved else FINE, told)


def scale(look: Look) -> Iterator[Finding]:
    """How large a bench each camera's scale makes of its picture."""
    from lapsekit.viewing import View  # heavy, and alerts do without

    for name in look.season.settings.cameras:
        found = View(look.season, name).scale
        if found.told:
            how = WATCH if found.warning else FINE
            yield Finding(f"scale of {name}", how, found.warning or found.told)


def moved(look: Look) -> Iterator[Finding]:
    """Views that have moved, as wrong: what was knocked is best put right on the day."""
    yield from (replace(found, how=WRONG) for found in view(look) if found.how != FINE)
