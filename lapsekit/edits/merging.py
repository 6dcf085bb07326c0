"""Two people's changes of one text put together, line by line (pure).

After diff3: what each did to the common text is told as hunks; where no line was touched by both,
both hold. (Khanna, Kunal & Pierce 2007, "A formal investigation of diff3", FSTTCS.)
"""

import tomllib
from collections.abc import Iterable
from difflib import SequenceMatcher
from typing import Any, NamedTuple

_NOTHING = object()


class _Hunk(NamedTuple):
    """Lines `start` to `end` of the common text give way to others."""

    start: int
    end: int
    lines: tuple[str, ...]


def merged(common: str, ours: str, theirs: str, any_order: bool = False) -> str | None:
    """The common text with the changes of both; None where they touched the same lines.

    Parameters
    ----------
    common, ours, theirs : str
    any_order : bool
        Whether lines that both put in at one place may stand in either order: rows of a table.
    """
    if ours == common or ours == theirs:
        return theirs
    if theirs == common:
        return ours
    base = common.splitlines(keepends=True)
    one, other = _hunks(base, ours), _hunks(base, theirs)
    if any(_collide(a, b, any_order) for a in one for b in other):
        return None
    out, at = [], 0
    for hunk in sorted({*other, *one}, key=lambda h: (h.start, h.end, h in one)):
        out += base[at : hunk.start]
        out += hunk.lines
        at = hunk.end
    return "".join([*out, *base[at:]])


def _hunks(base: list[str], text: str) -> list[_Hunk]:
    lines = text.splitlines(keepends=True)
    found = SequenceMatcher(None, base, lines, autojunk=False).get_opcodes()
    return [_Hunk(a, b, tuple(lines[c:d])) for tag, a, b, c, d in found if tag != "equal"]


def _collide(one: _Hunk, other: _Hunk, any_order: bool) -> bool:
    if one == other:
        return False
    if one.start == one.end == other.start == other.end:
        return not (any_order and all(_is_whole(hunk) for hunk in (one, other)))
    return one.start < other.end and other.start < one.end


def _is_whole(hunk: _Hunk) -> bool:
    return hunk.lines[-1].endswith("\n")


def differences(before: str, after: str, most: int = 8) -> list[str]:
    """Lines that went and came: ``- old``, ``+ new``; no more than `most`, and then ``…``."""
    base = before.splitlines()
    told = []
    for hunk in _hunks(
        [f"{line}\n" for line in base], "".join(f"{x}\n" for x in after.splitlines())
    ):
        told += [f"- {line}" for line in base[hunk.start : hunk.end]]
        told += [f"+ {line.rstrip()}" for line in hunk.lines]
    return told if len(told) <= most else [*told[:most], "…"]


def means_both(common: str, ours: str, theirs: str, both: str) -> bool:
    """Whether a merged TOML text says what each of the two says that changed it, and no more."""
    try:
        known, mine, others, found = (
            _leaves(tomllib.loads(t)) for t in (common, ours, theirs, both)
        )
    except tomllib.TOMLDecodeError:
        return False
    for path in {*known, *mine, *others, *found}:
        base, one, other = (each.get(path, _NOTHING) for each in (known, mine, others))
        if one != base and other not in (base, one):
            return False
        if found.get(path, _NOTHING) != (other if one == base else one):
            return False
    return True


def _leaves(data: dict[str, Any]) -> dict[tuple, Any]:
    return dict(_walk(data, ()))


def _walk(data: Any, path: tuple) -> Iterable[tuple[tuple, Any]]:
    """Values by path; entries of an array of tables go by their name or day, not their place."""
    if isinstance(data, dict):
        for key, each in data.items():
            yield from _walk(each, (*path, key))
    elif isinstance(data, list) and data and all(_key(each) is not None for each in data):
        for each in data:
            yield from _walk(each, (*path, _key(each)))
    else:
        yield path, data


def _key(entry: Any) -> str | None:
    named = entry.get("name", entry.get("from")) if isinstance(entry, dict) else None
    return None if named is None else f"= {named}"
