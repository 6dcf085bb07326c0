"""Values as TOML writes them, and changes inside a value in brackets (pure)."""

import json
import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from itertools import pairwise
from typing import Any

from lapsekit.edits.toml_lines import Path
from lapsekit.errors import MissingExtra, SettingsError

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def plain(value: Any, inside: bool = False) -> Any:
    """A value in the types that TOML knows, floats without noise.

    Raises
    ------
    SettingsError
        If it has no place in a TOML file: nothing, no finite number, of another type.
    """
    if isinstance(value, Mapping):
        return {str(key): plain(each, inside) for key, each in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain(each, True) for each in value]
    if isinstance(value, float) and math.isfinite(value):
        cleaned = float(f"{value:.10g}")
        return int(cleaned) if inside and cleaned.is_integer() else cleaned
    if isinstance(value, str | bool | int | date | datetime | time):
        return value
    raise SettingsError(f"{value!r} cannot be written into a settings file; give another value")


def written(value: Any) -> str:
    """A plain value on one line: ``"text"``, ``[[120, 80], [420, 80]]``."""
    if isinstance(value, dict):
        pairs = ", ".join(f"{written_key((key,))} = {written(each)}" for key, each in value.items())
        return f"{{{pairs}}}"
    if isinstance(value, list):
        return f"[{', '.join(map(written, value))}]"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value).lower() if isinstance(value, bool) else repr(value)


def _text(value: str) -> str:
    """JSON escapes what TOML wants escaped, but for one control character."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")


def written_key(parts: Path) -> str:
    """A key, dotted; quoted where it has to be."""
    keys = [str(part) for part in parts]
    return ".".join(key if _BARE.fullmatch(key) else _text(key) for key in keys)


def changed_inside(value: str, path: Path, new: Any) -> str:
    """The text of a value in brackets with something in it set, all else in it as it was.

    Parameters
    ----------
    value : str
        ``{ latitude = 52.0 }``, or an array over several lines with comments.
    path : Path
        What in it; a number one more than the last of an array adds to it.
    new
        A plain value; None takes out what stands there.
    """
    try:
        import tomlkit
    except ImportError as error:
        raise MissingExtra("changing a value in brackets", "desk") from error
    document = tomlkit.parse(f"value = {value}\n")
    holder = document["value"]
    for step, after in pairwise(path):
        if isinstance(step, str) and step not in holder:
            holder[step] = [] if isinstance(after, int) else tomlkit.inline_table()
        holder = holder[step]
    last = path[-1]
    if new is None:
        del holder[last]
    elif isinstance(last, int) and last == len(holder):
        holder.append(_inline(tomlkit, new))
    else:
        holder[last] = _inline(tomlkit, new)
    return tomlkit.dumps(document).removeprefix("value = ").rstrip("\r\n")


def _inline(tomlkit: Any, value: Any) -> Any:
    return tomlkit.parse(f"value = {written(value)}")["value"]
