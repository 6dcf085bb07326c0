"""A value of season.toml set or taken out; every other line stays as it is (pure).

A key that the annotated example shows as a comment gets its line right below that comment, which
stays: it says what the default is. A table that is missing is made where the example has it
commented. A line keeps the comment behind its value.
"""

from collections.abc import Sequence
from copy import deepcopy
from typing import Any

from lapsekit.edits.toml_data import checked, parsed, put, same, value_at
from lapsekit.edits.toml_lines import Path, Statement, statements
from lapsekit.edits.toml_places import header_of, key_place, span_end, table_place, tail
from lapsekit.edits.toml_values import changed_inside, plain, written, written_key


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
    value, data = plain(value), parsed(text)
    wanted = deepcopy(data)
    put(wanted, path, value)
    if same(wanted, data):
        return text
    return checked(_set(text, path, value), wanted, path)


def without(text: str, path: Path) -> str:
    """The text of a TOML file without a value, table or array entry; as it is where it has none.

    A line with a comment behind its value is commented out, so that the comment stays, and so is
    the header of a table with comments in it. Comments in and right above an entry of an array of
    tables go with it.

    Raises
    ------
    SettingsError
        If the text is no TOML.
    MissingExtra
        Without the extra [desk], where it stands inside a value in brackets.
    """
    wanted = parsed(text)
    try:
        holder = value_at(wanted, path[:-1])
        del holder[path[-1]]
    except (KeyError, IndexError, TypeError):
        return text
    known = statements(text)
    around = next((s for s in known if s.kind == "pair" and _is_inside(path, s.path)), None)
    if around is not None:
        start, end = around.value
        inside = changed_inside(text[start:end], path[len(around.path) :], None)
        return checked(text[:start] + inside + text[end:], wanted, path)
    return checked(_cut(text, known, path), wanted, path)


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
    inner, there = path[len(pair.path) :], value_at(parsed(text), pair.path)
    steps = {inner: value}
    if isinstance(value, dict) and _has_table(there, inner):
        steps = {(*inner, key): each for key, each in value.items()}
    held = text[start:end]
    for step, each in steps.items():
        held = changed_inside(held, step, each)
    return text[:start] + held + text[end:]


def _has_table(data: Any, path: Path) -> bool:
    try:
        return isinstance(value_at(data, path), dict)
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
    commented: set[int] = set()
    for n, statement in enumerate(known):
        if statement.path[: len(path)] != path or statement.kind not in ("table", "pair"):
            continue
        if statement.kind == "table" and _is_of_entry(statement.path[len(path) - 1 :]):
            gone.update(_of_entry(known, n, statement.path == path))
        elif statement.kind == "table":
            is_bare = all(s.kind != "comment" for s in known[n : tail(known, n)])
            (gone if is_bare else commented).add(n)
        else:
            is_whole = statement.table[: len(path)] == path or not _speaks(text, statement)
            (gone if is_whole else commented).add(n)
    gone |= _spare_blanks(known, gone)
    parts = [text[statement.start : statement.end] for statement in known]
    for n in commented - gone:
        parts[n] = "# " + parts[n].lstrip(" \t")
    return "".join(part for n, part in enumerate(parts) if n not in gone)


def _speaks(text: str, pair: Statement) -> bool:
    """Whether a comment stands behind a value that is on one line."""
    line = text[pair.start : pair.end].rstrip("\r\n")
    return "\n" not in line and bool(text[pair.value[1] : pair.end].strip())


def _is_of_entry(path: Path) -> bool:
    """Whether a path that begins with what goes is an entry of an array, or in one."""
    return any(isinstance(part, int) for part in path)


def _of_entry(known: list[Statement], header: int, is_first: bool) -> range:
    """An entry's header, keys and comments, with the comment right above."""
    begin, end = header, tail(known, header)
    while is_first and begin > 0 and known[begin - 1].kind == "comment":
        begin -= 1
    pairs = [n for n in range(header, end) if known[n].kind == "pair"]
    stop = (pairs[-1] if pairs else header) + 1
    while stop < end and known[stop].kind == "comment":
        stop += 1
    return range(begin, stop)


def _spare_blanks(known: list[Statement], gone: set[int]) -> set[int]:
    """Empty lines below what goes, where one stands above already or nothing does; and above it,
    where nothing stands below any more.
    """
    spare = set()
    for n in sorted(gone):
        above = next((m for m in range(n, -1, -1) if m not in gone), None)
        below = next((m for m in range(n, len(known)) if m not in gone), None)
        if below is None:
            spare |= {above} if above is not None and known[above].kind == "blank" else set()
        elif known[below].kind == "blank" and (above is None or known[above].kind == "blank"):
            spare.add(below)
    return spare
