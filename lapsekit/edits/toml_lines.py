"""Where in the text of a TOML file each key, table and comment stands (pure).

The text is valid TOML; whoever calls has parsed it. Nothing is interpreted beyond where things
begin and end, so that what is not touched stays as it is to the byte.
"""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

Path = tuple[str | int, ...]
"""Keys from the outermost table on; a number counts the entries of an array of tables, from 0."""

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
_KEY = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_HEADER = re.compile(rf"[ \t]*(\[\[?)[ \t]*({_KEY})[ \t]*\]")
_PAIR = re.compile(rf"[ \t]*({_KEY})[ \t]*=[ \t]*")
_COMMENTED_HEADER = re.compile(rf"[ \t]*#[ \t]?\[\[?[ \t]*({_KEY})[ \t]*\]\]?[ \t]*(?:#|\r?$)")
_COMMENTED_PAIR = re.compile(rf"[ \t]*#[ \t]?({_KEY})[ \t]*=[ \t]*\S")
_GOES_ON = re.compile(r"[ \t]*#[ \t]{4,}\S")
_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\''
    r"|#[^\n]*|[\[\]{}\n]|[^\"'#\[\]{}\n]+",
    re.DOTALL,
)


@dataclass(frozen=True)
class Statement:
    """One header, pair, comment line or empty line, with its line ending.

    Attributes
    ----------
    kind : str
        ``"table"`` for a header in single or double brackets.
    start, end : int
        Where in the text it begins, and where the next one does.
    table : Path
        The table it stands in; of a header, the one it opens. Entries of arrays are numbered.
    path : Path
        Of a pair, its key from the outermost table on; of a header as `table`. Of a comment that
        looks like a header or pair, the key as written; else ().
    value : (int, int)
        Of a pair, where its value begins and ends.
    is_example : bool
        A comment that looks like a header (``# [place]``).
    is_bare : bool
        A comment without words, which parts others.
    """

    kind: Literal["table", "pair", "comment", "blank"]
    start: int
    end: int
    table: Path
    path: Path = ()
    value: tuple[int, int] = (0, 0)
    is_example: bool = False
    is_bare: bool = False


def statements(text: str) -> list[Statement]:
    """All statements of a TOML text, in order; together they are the whole text."""
    return list(_statements(text))


def _statements(text: str) -> Iterator[Statement]:
    at, table, counts = 0, (), {}
    while at < len(text):
        end = _line_end(text, at)
        line = text[at:end]
        if not line.strip():
            yield Statement("blank", at, end, table)
        elif line.lstrip().startswith("#"):
            yield _comment(line, at, end, table)
        elif header := _HEADER.match(text, at):
            table = _numbered(key_parts(header[2]), header[1] == "[[", counts)
            yield Statement("table", at, end, table, table)
        else:
            pair = _PAIR.match(text, at)
            value = pair.end(), _value_end(text, pair.end())
            end = _line_end(text, value[1])
            yield Statement("pair", at, end, table, table + key_parts(pair[1]), value)
        at = end


def key_parts(key: str) -> tuple[str, ...]:
    """A key as written, ``a."b.c"``, in its parts."""
    parts, inner = [], tomllib.loads(f"{key} = 0")
    while isinstance(inner, dict):
        part, inner = next(iter(inner.items()))
        parts.append(part)
    return tuple(parts)


def goes_on(text: str, statement: Statement) -> bool:
    """Whether a comment line goes on with what the one above says, being indented below it."""
    return statement.kind == "comment" and bool(_GOES_ON.match(text, statement.start))


def _comment(line: str, at: int, end: int, table: Path) -> Statement:
    header, pair = _COMMENTED_HEADER.match(line), _COMMENTED_PAIR.match(line)
    found = header or pair
    path = key_parts(found[1]) if found else ()
    is_bare = line.strip() == "#"
    return Statement("comment", at, end, table, path, is_example=bool(header), is_bare=is_bare)


def _numbered(parts: tuple[str, ...], is_entry: bool, counts: dict[Path, int]) -> Path:
    """A header's key with the numbers of the entries it lies in; a new entry is counted."""
    path: Path = ()
    for part in parts[:-1]:
        path += (part,)
        path += (counts[path] - 1,) if path in counts else ()
    path += parts[-1:]
    if is_entry:
        counts[path] = counts.get(path, 0) + 1
    return path + ((counts[path] - 1,) if path in counts else ())


def _line_end(text: str, at: int) -> int:
    return text.find("\n", at) + 1 or len(text)


def _value_end(text: str, at: int) -> int:
    """Where a value that begins here ends, without the white space behind it."""
    depth, start = 0, at
    while at < len(text):
        token = _TOKEN.match(text, at)[0]
        if depth == 0 and token[0] in "#\n":
            break
        depth += (token in "[{") - (token in "]}")
        at += len(token)
    return start + len(text[start:at].rstrip())
