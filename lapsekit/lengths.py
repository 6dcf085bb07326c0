"""Lengths as a hand writes them: ``12``, ``12 cm``, ``120 mm``, ``0,12 m``, ``12 inches``; pure."""

import re

CM_PER_UNIT = {
    "": 1.0,
    "mm": 0.1,
    "cm": 1.0,
    "m": 100.0,
    "in": 2.54,
    "inch": 2.54,
    "inches": 2.54,
    "zoll": 2.54,
    '"': 2.54,
    "″": 2.54,
    "”": 2.54,
}
"""Units that are understood, in small letters; a number without one is of centimetres."""

HOW_TO = "write it like 12 cm, 120 mm, 0.12 m or 12 inches"

_LENGTH = re.compile(
    r"\s*(\d{1,3}(?:[ \u00a0\u202f]\d{3})+|\d+)(?:[.,](\d+))?\s*([^\W\d_]+|[\"″”])?(?P<after>.*)",
    re.DOTALL,
)
_GOES_ON = re.compile(r"(?!\s*[-–—]\s+[^\W\d_])\s*(?:[-–—/'’x×+²³°%]|\.?\d|\.\.)")
"""What makes another thing of the number before it: 12-14 cm, 5' 3", 1 m 20; no dash before words,
as in 12 cm - leggy."""


def centimetres(text: str) -> float | None:
    """The length that a text begins with, in cm; None where it tells none in one way.

    1,250 mm may be 1250 mm or 1.25 mm, "12-14 cm" is two lengths, and "12 in the pot" may be no
    inches: they tell none.
    """
    found = _LENGTH.match(text)
    if found is None:
        return None
    number, part, unit = found[1], found[2], (found[3] or "").casefold()
    after = found["after"]
    if unit not in CM_PER_UNIT or _GOES_ON.match(after):
        return None
    if unit == "in" and re.match(r"\s+[^\W\d_]", after):
        return None
    if unit != "m" and len(part or "") == len("000") and number != "0":
        return None
    whole = re.sub(r"\D", "", number)
    return float(f"{whole}.{part or 0}") * CM_PER_UNIT[unit]
