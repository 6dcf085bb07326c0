"""Units as loggers name them, in headers and beside figures; what is not of weather.csv's unit."""

import re
from collections.abc import Callable

from lapsekit.errors import SettingsError

_FROZEN_K = 273.15
TO_CELSIUS: dict[str, Callable[[float], float]] = {
    "°C": float,
    "°F": lambda value: round((value - 32) / 1.8, 3),
    "K": lambda value: round(value - _FROZEN_K, 3),
}
"""Units of temperature that are understood, and what makes degrees Celsius of them."""

_DEGREE = r"(?:°|º|˚|(?<![a-z])deg(?:rees?|\.)?)"
_WAYS = (rf"{_DEGREE}[\s_]*{{0}}(?![a-z])|{{1}}", r"[(\[]\s*{0}\s*[)\]]", r"temp.*[\s_,/]{0}$")
"""How a name tells a unit, the surest first: after a degree sign or as a word, in brackets, or at
the end of a name that tells of a temperature, which may be a probe's letter too."""
_WORDS = {"°F": ("f", "fahrenheit"), "K": ("k", "kelvin"), "°C": ("c", "celsius")}
_SIGNS = [
    (unit, re.compile(way.format(*words), re.IGNORECASE))
    for way in _WAYS
    for unit, words in _WORDS.items()
]
_CELL = re.compile(r"(?P<figure>.*?[\d.,])?\s*(?:°|º|˚|deg\.?)?\s*(?P<sign>[CFK])", re.I)
_FOREIGN = {
    "humidity": (
        re.compile(r"\bg\s*/\s*(m|kg)|g\s*m[-⁻]|\b[hkM]?Pa\b|\bmbar\b|°|\bVPD\b|\bdew", re.I),
        "is no relative humidity in %, which cannot be worked out from it alone",
    ),
    "light": (
        re.compile(r"\bk?(lux|lx)\b|\bW\s*/\s*m|\bW\s*m[-⁻]|\bfoot.?candles?\b|\bfc\b", re.I),
        "is no PPFD in µmol per m² and second; what makes one of the other differs from lamp to "
        "lamp, so it is not converted",
    ),
}


def unit_named(text: str | None) -> str | None:
    """The unit of temperature that ``--temp-unit`` names, with or without its degree sign.

    Raises
    ------
    SettingsError
        If it is none that is understood.
    """
    if text is None:
        return None
    units = {unit.removeprefix("°"): unit for unit in TO_CELSIUS}
    found = units.get(text.strip().removeprefix("°").upper())
    if found is None:
        raise SettingsError(f'--temp-unit "{text}": write one of {", ".join(units)}')
    return found


def unit_in_name(name: str) -> str | None:
    """The unit of temperature that a column's name tells; None where it tells none.

    Examples
    --------
    >>> unit_in_name("Temp (°F)"), unit_in_name("air_temp_k"), unit_in_name("Sensor F")
    ('°F', 'K', None)
    """
    return next((unit for unit, sign in _SIGNS if sign.search(name)), None)


def split_cell(text: str) -> tuple[str, str | None]:
    """A cell's figure, and the unit of temperature that stands beside it.

    Examples
    --------
    >>> split_cell("68.5 °F"), split_cell("°F"), split_cell("20,5")
    (('68.5', '°F'), ('', '°F'), ('20,5', None))
    """
    found = _CELL.fullmatch(text)
    if found is None:
        return text, None
    sign = found["sign"].upper()
    return found["figure"] or "", "K" if sign == "K" else f"°{sign}"


def require_unit(value: str, name: str, option: str) -> None:
    """Refuse a column whose name tells a unit that cannot be made weather.csv's.

    Raises
    ------
    SettingsError
        Says why, and to leave `option` out.
    """
    sign, why = _FOREIGN.get(value, (None, ""))
    if sign is not None and sign.search(name):
        raise SettingsError(f'{option} "{name}": {why}; leave {option} out')
