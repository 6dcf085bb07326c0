"""Fields of a settings table as a form has them: out of the models.

Pure. What a form sends is turned into a value of TOML as well as it can be; the models refuse what
is none, in their own words.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from lapsekit.settings.values import Model, SunTime

_UNITS = {
    "kb_s": "kB/s",
    "mb": "MB",
    "px": "px",
    "cm": "cm",
    "ms": "ms",
    "s": "s",
    "c": "°C",
    "k": "K",
}


@dataclass(frozen=True)
class Field:
    """One setting.

    Attributes
    ----------
    key : str
        As season.toml has it.
    kind : str
        ``text``, ``number``, ``whole``, ``yes``, ``choice``, ``choices``, ``day``, or ``toml`` for
        what is written as TOML has it.
    label, help : str
    value : str
        As it stands in the file; "" where it does not.
    usual : str
        What holds without it.
    options : tuple of str
    chosen : tuple of str
        Of `options`, where several may be.
    """

    key: str
    kind: str
    label: str
    help: str
    value: str
    usual: str
    options: tuple[str, ...] = ()
    chosen: tuple[str, ...] = ()


def fields(
    model: type[Model],
    table: Mapping[str, Any],
    told: Mapping[str, str],
    labels: Mapping[str, str],
) -> list[Field]:
    """The fields of a table.

    Parameters
    ----------
    model : type of Model
    table : mapping
        What the file holds of it.
    told : mapping of str to str
        What is said of its keys.
    labels : mapping of str to str
        What keys are called that do not say it themselves.
    """
    found = []
    for name, info in model.model_fields.items():
        key, plain = info.alias or name, _plain(info.annotation)
        if not _is_table(plain) and name != "kind":
            label = labels.get(key) or label_of(key)
            found.append(_field(key, info, plain, table, label, told.get(key, "")))
    return found


def _field(
    key: str, info: FieldInfo, plain: Any, table: Mapping[str, Any], label: str, told: str
) -> Field:
    kind, options = _kind(plain)
    value = table.get(key)
    chosen = tuple(map(str, value)) if kind == "choices" and isinstance(value, list) else ()
    shown = "" if value is None else written(value, kind)
    usual = None if info.is_required() else info.get_default(call_default_factory=True)
    return Field(key, kind, label, told, shown, _usual(usual, kind), options, chosen)


def label_of(key: str) -> str:
    """A key as people read it, its unit in brackets."""
    unit = next((unit for unit in _UNITS if key.endswith(f"_{unit}")), "")
    words = key.removesuffix(f"_{unit}").replace("_", " ").capitalize()
    return f"{words} ({_UNITS[unit]})" if unit else words


def _usual(value: Any, kind: str) -> str:
    if value is None or value == ():
        return ""
    if kind == "choices":
        return ", ".join(value)
    return written(value, kind)


def _plain(annotation: Any) -> Any:
    """An annotation without its constraints and its None."""
    while True:
        if hasattr(annotation, "__metadata__"):
            annotation = annotation.__origin__
            continue
        if get_origin(annotation) in (Union, UnionType):
            rest = [each for each in get_args(annotation) if each is not NoneType]
            if len(rest) == 1:
                annotation = rest[0]
                continue
        return annotation


def _is_table(plain: Any) -> bool:
    if get_origin(plain) is dict:
        return True
    return isinstance(plain, type) and issubclass(plain, Model)


def _kind(plain: Any) -> tuple[str, tuple[str, ...]]:
    if get_origin(plain) is Literal:
        return "choice", get_args(plain)
    if plain is bool:
        return "yes", ("true", "false")
    if get_origin(plain) is tuple:
        first = _plain(get_args(plain)[0])
        return ("choices", get_args(first)) if get_origin(first) is Literal else ("toml", ())
    kinds = {int: "whole", float: "number", str: "text", date: "day"}
    if plain in kinds:
        return kinds[plain], ()
    return ("text", ()) if plain == time or time in get_args(plain) else ("toml", ())


def written(value: Any, kind: str) -> str:
    """A value as a form shows it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, SunTime):
        hours, minutes = divmod(abs(value.minutes), 60)
        sign = "-" if value.minutes < 0 else "+"
        return value.event + (f" {sign} {hours}:{minutes:02}" if value.minutes else "")
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, float) and kind in ("number", "whole"):
        return f"{value:g}"
    return _toml(value) if kind == "toml" else f"{value}"


def _toml(value: Any) -> str:
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    return value.isoformat() if isinstance(value, date | time) else f"{value}"


def understood(told: str, kind: str) -> Any:
    """What somebody wrote into a field, as a value of TOML; text stays text where it is no other.

    ``None`` for an empty field: what is usual holds.
    """
    if not told:
        return None
    if kind == "yes":
        return told == "true"
    try:
        if kind == "whole":
            return int(told)
        if kind == "number":
            number = float(told.replace(",", "."))
            return int(number) if number.is_integer() else number
        if kind == "day":
            return date.fromisoformat(told)
        if kind == "toml":
            return tomllib.loads(f"it = {told}")["it"]
    except ValueError:
        return told
    return told
