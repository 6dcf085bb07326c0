"""What a TOML text says, and whether a changed one says just what was wanted (pure)."""

import tomllib
from itertools import pairwise
from typing import Any

from lapsekit.edits.toml_lines import Path
from lapsekit.errors import SettingsError


def parsed(text: str) -> dict[str, Any]:
    """What a TOML text says; raises `SettingsError`."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"not valid TOML: {error}; mend it by hand first") from error


def value_at(data: Any, path: Path) -> Any:
    """What stands at a path; raises as indexing does."""
    for step in path:
        data = data[step]
    return data


def put(data: Any, path: Path, value: Any) -> None:
    """Set a value in the data, as `settings_text.with_value` does in the text."""
    for step, after in pairwise(path):
        empty = [] if isinstance(after, int) else {}
        if isinstance(step, int) and isinstance(data, list) and step == len(data):
            data.append(empty)
        elif isinstance(step, str) and isinstance(data, dict):
            data.setdefault(step, empty)
        data = _stepped(data, step, path)
    last = path[-1]
    if isinstance(last, int) and isinstance(data, list) and last == len(data):
        data.append(value)
    elif isinstance(value, dict) and isinstance(data, dict) and isinstance(data.get(last), dict):
        for key, each in value.items():
            put(data[last], (key,), each)
    elif isinstance(last, int) and isinstance(value, dict):
        for key, each in value.items():
            put(_stepped(data, last, path), (key,), each)
    elif isinstance(last, str) != isinstance(data, dict):
        raise _no_place(path)
    else:
        data[last] = value


def _stepped(data: Any, step: str | int, path: Path) -> Any:
    try:
        found = data[step]
    except (KeyError, IndexError, TypeError) as error:
        raise _no_place(path) from error
    if not isinstance(found, dict | list):
        raise _no_place(path)
    return found


def _no_place(path: Path) -> SettingsError:
    return SettingsError(f"{named(path)}: there is no table or list that it could stand in")


def named(path: Path) -> str:
    """A path in words: ``cameras.bench.px_per_cm``, ``region 2.label``."""
    told = ""
    for step in path:
        told += f" {step + 1}" if isinstance(step, int) else f".{step}" if told else step
    return told


def same(one: Any, other: Any) -> bool:
    """Whether two values say the same; true and 1 do not, 5 and 5.0 do."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same, one, other))
    return isinstance(one, bool) == isinstance(other, bool) and one == other


def _pruned(data: Any) -> Any:
    """Without empty tables and lists, which a header alone may leave."""
    if isinstance(data, dict):
        inner = {key: _pruned(each) for key, each in data.items()}
        return {key: each for key, each in inner.items() if each not in ({}, [])}
    return [_pruned(each) for each in data] if isinstance(data, list) else data


def checked(text: str, wanted: Any, path: Path) -> str:
    """The text, once it is shown to say what is wanted and nothing else."""
    try:
        if same(_pruned(tomllib.loads(text)), _pruned(wanted)):
            return text
        why = "something else would change with it"
    except tomllib.TOMLDecodeError as error:
        why = str(error)
    raise SettingsError(
        f"{named(path)} cannot be changed here, the way this file is written ({why}); change it by "
        "hand"
    )
