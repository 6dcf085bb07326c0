"""A value of season.toml set or taken out; every other line stays as it is (pure).

A key that the annotated example shows as a comment gets its line right below that comment, which
stays: it says what the default is. A table that is missing is made where the example has it
commented. A line keeps the comment behind its value.
"""

import tomllib
from collections.abc import Sequence
from copy import deepcopy
from itertools import pairwise
from typing import Any

from lapsekit.edits.toml_lines import Path, Statement, statements
from lapsekit.edits.toml_places import header_of, key_place, span_end, table_place, tail
from lapsekit.edits.toml_values import changed_inside, plain, written, written_key
from lapsekit.errors import SettingsError


def with_value(text: str, path: Path, value: Any) -> str:
    """The text of a TOML file with one value set.

    Parameters
    ----------
    text : str
        Any line endings, which are kept.
    path : tuple of str or int
        ``("cameras", "bench", "px_per_cm")``. A number that is one more than the last of an array
        adds to it.
    value : str, int, float, bool, date, time, sequence of these, or mapping
        Points may be any sequence of pairs. A mapping sets each of its keys (others stay); for a
        new entry of an array it is the entry.

    Returns
    -------
    str

    Raises
    ------
    SettingsError
        If the text is no TOML, or a value stands where the path needs a table.
    MissingExtra
        Without the extra [desk], where it stands inside a value in brackets.
    """
    value, data = plain(value), _data(text)
    wanted = deepcopy(data)
    _put(wanted, path, value)
    if _same(wanted, data):
        return text
    return _checked(_set(text, path, value), wanted, path)


def without(text: str, path: Path) -> str:
    """The text of a TOML file without a value, table or array entry; as it is where it has none.

    A line with a comment behind its value is commented out, so that the comment stays. Comments
    right above an entry of an array of tables go with it.

    Raises
    ------
    SettingsError
        If the text is no TOML.
    MissingExtra
        Without the extra [desk], where it stands inside a value in brackets.
    """
    wanted = _data(text)
    try:
        holder = _at(wanted, path[:-1])
        del holder[path[-1]]
    except (KeyError, IndexError, TypeError):
        return text
    known = statements(text)
    around = next((s for s in known if s.kind == "pair" and _is_inside(path, s.path)), None)
    if around is not None:
        start, end = around.value
        inside = changed_inside(text[start:end], path[len(around.path) :], None)
        return _checked(text[:start] + inside + text[end:], wanted, path)
    return _checked(_cut(text, known, path), wanted, path)


def _data(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"not valid TOML: {error}; mend it by hand first") from error


def _at(data: Any, path: Path) -> Any:
    for step in path:
        data = data[step]
    return data


def _put(data: Any, path: Path, value: Any) -> None:
    """What `with_value` comes to, in the data."""
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
            _put(data[last], (key,), each)
    elif isinstance(last, int) and isinstance(value, dict):
        for key, each in value.items():
            _put(_stepped(data, last, path), (key,), each)
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


def _same(one: Any, other: Any) -> bool:
    """Whether two values say the same; true and 1 do not, 5 and 5.0 do."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[k], other[k]) for k in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return isinstance(one, bool) == isinstance(other, bool) and one == other


def _pruned(data: Any) -> Any:
    """Without empty tables and lists, which a header alone may leave."""
    if isinstance(data, dict):
        inner = {key: _pruned(each) for key, each in data.items()}
        return {key: each for key, each in inner.items() if each not in ({}, [])}
    return [_pruned(each) for each in data] if isinstance(data, list) else data


def _checked(text: str, wanted: Any, path: Path) -> str:
    """The text, once it is shown to say what is wanted and nothing else."""
    try:
        if _same(_pruned(tomllib.loads(text)), _pruned(wanted)):
            return text
        why = "something else would change with it"
    except tomllib.TOMLDecodeError as error:
        why = str(error)
    raise SettingsError(
        f"{named(path)} cannot be changed here, the way this file is written ({why}); change it by "
        "hand"
    )


def _is_inside(path: Path, other: Path) -> bool:
    return len(path) > len(other) and path[: len(other)] == other


def _set(text: str, path: Path, value: Any) -> str:
    known = statements(text)
    for pair in (s for s in known if s.kind == "pair"):
        if pair.path == path and not isinstance(value, dict):
            return _replaced(text, pair, written(value))
        if pair.path == path or _is_inside(path, pair.path):
            return _set_inside(text, pair, path, value)
    if isinstance(value, dict):
        return _set_each(text, known, path, value)
    return _added(text, known, path, value)


def _set_inside(text: str, pair: Statement, path: Path, value: Any) -> str:
    """Something set inside a pair's value in brackets; a mapping key by key, where it is there."""
    start, end = pair.value
    inner, there = path[len(pair.path) :], _at(_data(text), pair.path)
    steps = {inner: value}
    if isinstance(value, dict) and _has_table(there, inner):
        steps = {(*inner, key): each for key, each in value.items()}
    held = text[start:end]
    for step, each in steps.items():
        held = changed_inside(held, step, each)
    return text[:start] + held + text[end:]


def _has_table(data: Any, path: Path) -> bool:
    try:
        return isinstance(_at(data, path), dict)
    except (KeyError, IndexError):
        return False


def _replaced(text: str, pair: Statement, value: str) -> str:
    """The value replaced; a comment behind it stays in its column where there is room."""
    start, end = pair.value
    behind = text[end : pair.end]
    gap = len(behind) - len(behind.lstrip(" "))
    if behind[gap : gap + 1] == "#" and "\n" not in text[start:end]:
        room = gap + (end - start) - len(value)
        behind = " " * max(1, room) + behind[gap:]
    return text[:start] + value + behind + text[pair.end :]


def _set_each(text: str, known: list[Statement], path: Path, table: dict[str, Any]) -> str:
    """The keys of a mapping set one by one; a table that is missing is made with the plain ones."""
    inner = {key: each for key, each in table.items() if isinstance(each, dict)}
    own = {key: each for key, each in table.items() if key not in inner}
    is_there = any(s.kind in ("table", "pair") and s.path[: len(path)] == path for s in known)
    if not is_there and (own or not inner):
        text, own = _with_table(text, known, path, own), {}
    for key, each in {**own, **inner}.items():
        text = _set(text, (*path, key), each)
    return text


def _added(text: str, known: list[Statement], path: Path, value: Any) -> str:
    """A key that is not there yet, in its table; that is made where it is missing."""
    table = path[:-1]
    header = header_of(known, table) if table else -1
    if header is None:
        dotted = [n for n, s in enumerate(known) if s.kind == "pair" and _is_inside(s.path, table)]
        dotted = [n for n in dotted if len(known[n].table) < len(table)]
        if not dotted:
            return _with_table(text, known, table, {path[-1]: value})
        near = known[dotted[-1]]
        return _with_line(text, known, dotted[-1] + 1, path[len(near.table) :], value)
    place = key_place(text, known, header, str(path[-1]))
    if header == -1 and not any(s.kind == "pair" for s in known[: span_end(known, -1)]):
        place = tail(known, -1)
    return _with_line(text, known, place, path[-1:], value)


def _with_line(text: str, known: list[Statement], place: int, key: Path, value: Any) -> str:
    """A line put before a statement, indented as the nearest key or header above."""
    above = [s for s in known[:place] if s.kind in ("pair", "table")]
    line = text[above[-1].start :] if above else ""
    indent = line[: len(line) - len(line.lstrip(" \t"))]
    return _inserted(text, known, place, [f"{indent}{written_key(key)} = {written(value)}"])


def _with_table(text: str, known: list[Statement], table: Path, keys: dict[str, Any]) -> str:
    """A new table, or entry of an array of tables, with an empty line around it."""
    place, name = table_place(known, table), [p for p in table if isinstance(p, str)]
    header = f"[[{written_key(name)}]]" if isinstance(table[-1], int) else f"[{written_key(name)}]"
    lines = [header, *(f"{written_key((key,))} = {written(each)}" for key, each in keys.items())]
    if place > 0 and known[place - 1].kind != "blank":
        lines.insert(0, "")
    if place < len(known) and known[place].kind != "blank":
        lines.append("")
    return _inserted(text, known, place, lines)


def _inserted(text: str, known: list[Statement], place: int, lines: Sequence[str]) -> str:
    newline = "\r\n" if "\r\n" in text else "\n"
    at = known[place].start if place < len(known) else len(text)
    before = text[:at] + (newline if at and not text[:at].endswith("\n") else "")
    return before + "".join(f"{line}{newline}" for line in lines) + text[at:]


def _cut(text: str, known: list[Statement], path: Path) -> str:
    """The text without the pairs and tables of a path."""
    gone: set[int] = set()
    kept: dict[int, str] = {}
    for n, statement in enumerate(known):
        is_meant = statement.path[: len(path)] == path
        if statement.kind == "table" and is_meant:
            gone.update(_of_table(known, n, statement.path == path))
        elif statement.kind == "pair" and is_meant and n not in gone:
            behind = text[statement.value[1] : statement.end].strip()
            whole = text[statement.start : statement.end]
            if behind and "\n" not in whole.rstrip("\r\n"):
                kept[n] = f"# {whole.lstrip()}"
            else:
                gone.add(n)
    gone.update(_spare_blanks(known, gone))
    rest = (n for n in range(len(known)) if n not in gone)
    return "".join(kept.get(n) or text[known[n].start : known[n].end] for n in rest)


def _of_table(known: list[Statement], header: int, is_first: bool) -> range:
    """A table's header, keys and comments; of an array's entry also the comment right above."""
    begin = header
    if is_first and isinstance(known[header].path[-1], int):
        while begin > 0 and known[begin - 1].kind == "comment":
            begin -= 1
    pairs = [n for n in range(header, span_end(known, header)) if known[n].kind == "pair"]
    end = (pairs[-1] if pairs else header) + 1
    while end < len(known) and known[end].kind == "comment" and not known[end].is_example:
        end += 1
    is_about_next = end < len(known) and known[end].kind == "table"
    return range(begin, (pairs[-1] if pairs else header) + 1 if is_about_next else end)


def _spare_blanks(known: list[Statement], gone: set[int]) -> set[int]:
    """Empty lines below what goes, where one stands above already or nothing does."""
    spare = set()
    for n in sorted(gone):
        below = n + 1
        if below in gone or below >= len(known) or known[below].kind != "blank":
            continue
        above = next((m for m in range(n, -1, -1) if m not in gone), None)
        if above is None or known[above].kind == "blank":
            spare.add(below)
    return spare
