"""Phrases that pages and films share: plant age, acts of the diary, why there is no picture."""

from collections.abc import Mapping
from datetime import date

from lapsekit.language.words import Words
from lapsekit.when import plant_age


def age_text(words: Words, day: date, sown: date) -> str:
    """Plant age as a phrase: ``day 34``; before sowing, how long before."""
    age = plant_age(day, sown)
    if age >= 0:
        return words.text("day {age}", age=age)
    return words.counted("{n} day before sowing", "{n} days before sowing", -age)


def day_text(words: Words, day: date, sown: date) -> str:
    """``3 May``, with its year where that was over before anything was sown."""
    return words.dated_day(day) if day.year < sown.year else words.short_day(day)


def capital(said: str) -> str:
    """The same with a capital letter in front."""
    return said[:1].upper() + said[1:]


def no_rate_text(words: Words, bare_days: int) -> str:
    """Why a plant has no growth rate, without a full stop; tables, pages and plots say it alike.

    Parameters
    ----------
    words : Words
    bare_days : int
        As `lapsekit.growing.Growth.bare_days`: where there are none, days are too few.
    """
    if not bare_days:
        return words.text("no growth rate yet: too few measured days")
    return words.counted(
        "no canopy seen for sure on its only measured day",
        "no canopy seen for sure on any of its {n} measured days",
        bare_days,
    )


def act_text(words: Words, what: str) -> str:
    """What a line of the diary tells, in the site's language where it is of the vocabulary."""
    known = {
        "sown": words.text("sown"),
        "emerged": words.text("emerged"),
        "potted on": words.text("potted on"),
        "moved": words.text("moved"),
        "fed": words.text("fed"),
        "watered": words.text("watered"),
        "cut": words.text("cut"),
        "pest": words.text("pest"),
        "cold": words.text("cold"),
        "first flower": words.text("first flower"),
        "first fruit": words.text("first fruit"),
        "harvest": words.text("harvest"),
        "height": words.text("height"),
    }
    return known.get(what.lower(), what)


def reason_text(words: Words, reason: str) -> str:
    """Why a frame was left out; a reason that nobody knows is said as it is."""
    known = {
        "grey": words.text("grey"),
        "dark": words.text("dark"),
        "blown out": words.text("blown out"),
        "frozen": words.text("frozen"),
        "glare": words.text("glare"),
        "hazed": words.text("hazed"),
        "blurred": words.text("blurred"),
        "obstructed": words.text("obstructed"),
        "held back": words.text("held back"),
        "not registered": words.text("not registered"),
        "not readable": words.text("not readable"),
        "another size": words.text("another size"),
    }
    plain = reason.replace("-", " ")
    return known.get(plain, plain)


def reasons_text(words: Words, reasons: Mapping[str, int]) -> str:
    """``2 blurred, 1 dark``; empty where nothing was left out."""
    ordered = sorted(reasons.items(), key=lambda item: (-item[1], item[0]))
    return ", ".join(f"{count} {reason_text(words, reason)}" for reason, count in ordered)
