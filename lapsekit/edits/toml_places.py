"""Where a careful hand would put a new key or a new table into a TOML file (pure)."""

from lapsekit.edits.toml_lines import Path, Statement, goes_on

Statements = list[Statement]


def header_of(known: Statements, table: Path) -> int | None:
    """Which statement opens a table."""
    found = (n for n, s in enumerate(known) if s.kind == "table" and s.path == table)
    return next(found, None)


def span_end(known: Statements, header: int) -> int:
    """The next header after one, or the end of the file; -1 stands for the file's beginning."""
    later = (n for n in range(header + 1, len(known)) if known[n].kind == "table")
    return next(later, len(known))


def key_place(text: str, known: Statements, header: int, key: str) -> int:
    """Before which statement a new key of the table goes that `header` opens.

    Below the comment that shows it, with the lines that go on with that comment; else below the
    last key; else below the comment that follows the header.
    """
    end = span_end(known, header)
    for n in range(header + 1, _own_end(known, header, end)):
        if known[n].kind == "comment" and known[n].path == (key,):
            return next((m for m in range(n + 1, end) if not goes_on(text, known[m])), end)
    pairs = [n for n in range(header + 1, end) if known[n].kind == "pair"]
    return pairs[-1] + 1 if pairs else _below_comment(known, header + 1, end)


def table_place(known: Statements, table: Path) -> int:
    """Before which statement a new table, or entry of an array of tables, goes."""
    return next((place for place in _table_places(known, table) if place is not None), len(known))


def _table_places(known: Statements, table: Path):
    is_entry = isinstance(table[-1], int)
    if is_entry and table[-1] > 0:
        yield _after_all(known, (*table[:-1], table[-1] - 1))
    own = table[:-1] if is_entry else table
    if all(isinstance(part, str) for part in own):
        yield _below_example(known, lambda path: path == own)
        if len(own) > 1:
            yield _after_siblings(known, own)
            yield _below_example(known, lambda path: path[:-1] == own[:-1])
    for length in range(len(own) - 1, 0, -1):
        yield _after_all(known, own[:length])


def _after_siblings(known: Statements, table: Path) -> int | None:
    """Below the last table that has the same parent, and all that belongs to it."""
    parent = len(table) - 1
    near = [s.path for s in known if s.kind == "table" and s.path[:parent] == table[:parent]]
    near = [path for path in near if len(path) > parent]
    return _after_all(known, near[-1][: parent + 1]) if near else None


def _after_all(known: Statements, table: Path) -> int | None:
    """Below a table and every table in it."""
    inside = [n for n, s in enumerate(known) if s.kind == "table" and s.path[: len(table)] == table]
    return tail(known, inside[-1]) if inside else None


def _below_example(known: Statements, is_meant) -> int | None:
    """Below the last commented table that is meant; not above keys that would fall into it."""
    examples = [n for n, s in enumerate(known) if s.is_example and is_meant(s.path)]
    if not examples:
        return None
    place = examples[-1] + 1
    while place < len(known) and _is_more_of_example(known[place]):
        place += 1
    header = max((n for n in range(place) if known[n].kind == "table"), default=-1)
    pairs = [n for n in range(place, span_end(known, header)) if known[n].kind == "pair"]
    return tail(known, header) if pairs else place


def _is_more_of_example(statement: Statement) -> bool:
    """Whether a commented table goes on with this line: another key, or words beside it."""
    return statement.kind == "comment" and not statement.is_example and not statement.is_bare


def tail(known: Statements, header: int) -> int:
    """The first statement below a table that is not about it.

    Comments that stand right above the next header are about that one, and so are paragraphs with
    a commented table.
    """
    end = span_end(known, header)
    pairs = [n for n in range(header + 1, end) if known[n].kind == "pair"]
    place = _below_comment(known, (pairs[-1] if pairs else header) + 1, end)
    while place < end:
        begin = next((n for n in range(place, end) if known[n].kind == "comment"), end)
        stop = _paragraph_end(known, begin, end)
        is_about_next = stop == end < len(known)
        if begin == end or is_about_next or any(s.is_example for s in known[begin:stop]):
            break
        place = stop
    return place


def _below_comment(known: Statements, place: int, end: int) -> int:
    stop = _paragraph_end(known, place, end)
    return next((n for n in range(place, stop) if known[n].is_example), stop)


def _paragraph_end(known: Statements, place: int, end: int) -> int:
    while place < end and known[place].kind == "comment":
        place += 1
    return place


def _own_end(known: Statements, header: int, end: int) -> int:
    """Where the first commented table begins: keys below it are that one's."""
    return next((n for n in range(header + 1, end) if known[n].is_example), end)
