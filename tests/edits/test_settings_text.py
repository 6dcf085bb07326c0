"""Values of season.toml are set and taken out as by a careful hand."""

import re
import tomllib
from copy import deepcopy
from datetime import date, time
from difflib import SequenceMatcher
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import SettingsError
from lapsekit.resources import shared_folder
from lapsekit.settings import parse_settings

EXAMPLE = (shared_folder("config") / "season.toml").read_text(encoding="utf-8")
PARSED = parse_settings(EXAMPLE, Path("season.toml"))

MORE = {"from": date(2031, 5, 2), "until": date(2031, 5, 3), "every_minutes": 5}
MAIL = {"host": "h", "user": "u", "password_file": "p"}
NEW = [
    (("season", "base_c"), 7.5),
    (("season", "about"), 'Three "basils" \\ and a\ttab'),
    (("cameras", "bench", "px_per_cm"), 12.25),
    (("cameras", "bench", "height_cm"), 140),
    (("cameras", "bench", "grey_card"), ((40, 900), (120, 900), (120, 980), (40, 980))),
    (("place",), {"latitude": 1.5, "longitude": -2.25}),
    (("capture", "every_minutes"), 20),
    (("capture", "from"), time(7, 30)),
    (("capture", "daily_within_minutes"), 60),
    (
        ("capture", "more_often"),
        [{"from": date(2031, 5, 2), "until": date(2031, 5, 3), "every_minutes": 5}],
    ),
    (("compute", "memory_mb"), 800),
    (("screening", "dark_below"), 0.1 + 0.2),
    (("registration", "use"), False),
    (("canopy", "method"), "gli"),
    (("publish",), {"to": "folder", "target": "/srv/www"}),
    (("film", "shape"), "wide"),
    (("film", "shows"), ["date", "curve"]),
    (("film", "cuts", "mine"), {"kind": "recent", "days": 7}),
    (("film", "cuts", "spring"), {"kind": "season", "since": date(2031, 4, 1)}),
    (("site", "language"), "de"),
    (
        ("followers",),
        {"contact": "Office", "mail": {"host": "h", "user": "u", "password_file": "p"}},
    ),
    (("cameras", "side"), {"kind": "files"}),
]


def lines_gone(before, after):
    """Lines of one text that are not in the other, in order."""
    a, b = before.splitlines(keepends=True), after.splitlines(keepends=True)
    found = SequenceMatcher(None, a, b, autojunk=False).get_opcodes()
    return [line for tag, i, j, _, _ in found if tag in ("delete", "replace") for line in a[i:j]]


def put(data, path, value):
    for step in path[:-1]:
        data = data.setdefault(step, {})
    if isinstance(value, dict):
        data.setdefault(path[-1], {}).update(value)
    else:
        data[path[-1]] = value


def plain(value):
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    return pytest.approx(value) if isinstance(value, float) else value


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("path", "value"),
    [pytest.param(*each, id=".".join(each[0])) for each in NEW],
)
def test_a_new_setting_leaves_every_line_of_the_annotated_example_as_it_is(path, value, newline):
    text = EXAMPLE.replace("\n", newline)
    changed = with_value(text, path, value)
    wanted = tomllib.loads(text)
    put(wanted, path, plain(value))
    assert tomllib.loads(changed) == wanted
    assert lines_gone(text, changed) == []
    assert changed.count("\n") == changed.count(newline)
    parse_settings(changed, Path("season.toml"))
    assert parse_settings(without(changed, path), Path("season.toml")) == PARSED
    gone = lines_gone(text, without(changed, path))
    assert [line.strip() for line in gone] in ([], [f"[{path[0]}]"])  # commented out, if anything


def test_a_setting_stands_right_below_the_comment_that_shows_it():
    changed = with_value(EXAMPLE, ("capture", "daily_within_minutes"), 60).splitlines()
    at = changed.index("daily_within_minutes = 60")
    assert changed[at - 2].startswith("# daily_within_minutes = 90")
    assert changed[at - 1].startswith("#  ") and "daily_at" in changed[at - 1]


def test_a_missing_table_is_made_below_its_commented_example():
    changed = with_value(EXAMPLE, ("place",), {"latitude": 1.5, "longitude": 2.0})
    assert "# longitude = 13.0\n\n[place]\nlatitude = 1.5\nlongitude = 2.0\n\n[capture]" in changed


def test_a_key_of_one_table_is_not_put_below_the_comment_of_another():
    mail = with_value(EXAMPLE, ("followers", "mail"), {"host": "h"})
    changed = with_value(mail, ("followers", "mail", "user"), "plants")
    assert 'host = "h"\nuser = "plants"\n' in changed


def test_a_changed_value_keeps_the_comment_behind_it_in_its_column():
    changed = with_value(EXAMPLE, ("season", "time_zone"), "Asia/Tokyo")
    old, new = (re.search(r"(?m)^time_zone.*$", t)[0] for t in (EXAMPLE, changed))
    assert new.index("#") == old.index("#") + 1  # the value left no room for its column
    assert new[new.index("#") :] == old[old.index("#") :]
    later = with_value(EXAMPLE, ("season", "sown"), date(2031, 4, 9))
    assert later.index("# the day most") == EXAMPLE.index("# the day most")


def test_a_taken_out_value_leaves_the_comment_behind_it():
    changed = without("[a]\nx = 1  # why it is one\ny = 2\n", ("a", "x"))
    assert changed == "[a]\n# x = 1  # why it is one\ny = 2\n"


def test_a_value_that_says_the_same_is_not_written_anew():
    text = "[a]\nx   =  12.50   # so\nd = '2031'\n"
    assert with_value(text, ("a", "x"), 12.5) is text
    assert with_value(text, ("a", "d"), "2031") is text
    assert with_value("[a]\nx = 1\n", ("a", "x"), True) == "[a]\nx = true\n"


def test_points_are_written_on_one_readable_line():
    changed = with_value(
        "[a]\np = [\n  [1, 2], # corner\n]\n", ("a", "p"), [(1.0, 2.5), (0.1 + 0.2, 3)]
    )
    assert changed == "[a]\np = [[1, 2.5], [0.3, 3]]\n"


@pytest.mark.parametrize(
    ("text", "path", "value", "wanted"),
    [
        ("a = { x = 1, y = 2 } # k\n", ("a", "y"), 3, "a = { x = 1, y = 3 } # k\n"),
        ("[t]\na = { x = 1 }\n", ("t", "a", "z"), "q", '[t]\na = { x = 1, z = "q"}\n'),
        ("a.x = 1\na.y = 2\n\n[b]\n", ("a", "z"), 3, "a.x = 1\na.y = 2\na.z = 3\n\n[b]\n"),
        ("[t]\na.b.x = 1\n", ("t", "a", "b", "y"), 2, "[t]\na.b.x = 1\na.b.y = 2\n"),
        ('[ "t" . a ]\n  x = 1\n', ("t", "a", "y"), 2, '[ "t" . a ]\n  x = 1\n  y = 2\n'),
        ("[t]\nx = 1", ("t", "y"), 2, "[t]\nx = 1\ny = 2\n"),
        ("[t.u]\nx = 1\n", ("t", "y"), 2, "[t.u]\nx = 1\n\n[t]\ny = 2\n"),
        ("", ("t", "y"), 2, "[t]\ny = 2\n"),
        ("[t]\ns = '''\n[u]\ny = 3'''\n", ("t", "y"), 2, "[t]\ns = '''\n[u]\ny = 3'''\ny = 2\n"),
        ("p = [ # [\n 1, # a ]\n 2,\n]\n", ("p", 2), 3, "p = [ # [\n 1, # a ]\n 2,\n 3,\n]\n"),
        ("[[r]]\nn = 1\n[[r]]\nn = 2\n", ("r", 0, "m"), 9, "[[r]]\nn = 1\nm = 9\n[[r]]\nn = 2\n"),
        ("r = [{n = 1}, {n = 2}]\n", ("r", 1, "n"), 5, "r = [{n = 1}, {n = 5}]\n"),
    ],
)  # fmt: skip
def test_dotted_inline_and_odd_tables_are_changed_where_they_stand(text, path, value, wanted):
    assert with_value(text, path, value) == wanted


@pytest.mark.parametrize("text", ["[a\n", "x = 1\nx = 2\n"])
def test_what_is_no_toml_is_refused(text):
    with pytest.raises(SettingsError, match="not valid TOML"):
        with_value(text, ("a", "x"), 1)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None, object()])
def test_what_has_no_place_in_toml_is_refused(value):
    with pytest.raises(SettingsError, match="cannot be written"):
        with_value("[a]\n", ("a", "x"), value)


def test_a_path_through_a_value_is_refused():
    with pytest.raises(SettingsError, match=r"a\.x\.y"):
        with_value("[a]\nx = 1\n", ("a", "x", "y"), 2)


# --- files that a hand wrote in any way ---

KEYS = st.sampled_from(["a", "b", "c-1", "d e", "f.g", 'h"i'])
TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=12)
VALUES = st.one_of(
    st.integers(-9999, 9999),
    st.booleans(),
    st.floats(-1e6, 1e6).map(lambda v: float(f"{v:.6g}")),
    st.dates(),
    TEXTS,
    st.lists(st.integers(0, 99), max_size=4),
)
NOISE = st.sampled_from(["", "", "", "# [x] = 'a", "  # b = 3", "#", "# a", "\t", "   "])


def quoted(key):
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else with_value("", ("t", key), 0)[4:-5]


def told(value):
    return with_value("", ("t", "k"), value)[8:-1]


@st.composite
def hand_written(draw):
    """A file as a hand may have written it: its text, its data, and the lines of each key."""
    newline = draw(st.sampled_from(["\n", "\r\n"]))
    tables = st.dictionaries(KEYS, VALUES, min_size=1, max_size=4)
    data = draw(st.dictionaries(KEYS, tables, max_size=4))
    ways = ["header", "header", "inline", "dotted"]
    styles = {name: draw(st.sampled_from(ways)) for name in data}
    lines = []
    for name in sorted(data, key=lambda n: styles[n] == "header"):
        lines += [(None, line) for line in draw(st.lists(NOISE, max_size=2))]
        indent = draw(st.sampled_from(["", "  ", "\t"]))
        equals = draw(st.sampled_from([" = ", "=", "  =  "]))
        behind = draw(st.sampled_from(["", "  # why", " #"]))
        if styles[name] == "inline":
            inner = ", ".join(f"{quoted(k)} = {told(v)}" for k, v in data[name].items())
            lines.append(((name,), f"{quoted(name)} = {{ {inner} }}{behind}"))
            continue
        if styles[name] == "header":
            lines.append((None, f"[{quoted(name)}]{behind}"))
        prefix = f"{quoted(name)}." if styles[name] == "dotted" else ""
        for key, value in data[name].items():
            pair = f"{indent}{prefix}{quoted(key)}{equals}{told(value)}{behind}"
            lines.append(((name, key), pair))
            lines += [(None, line) for line in draw(st.lists(NOISE, max_size=2))]
    last = draw(st.sampled_from([newline, ""]))
    return newline.join(line for _, line in lines) + last, data, lines


@given(hand_written(), KEYS, KEYS, VALUES)
@examples(max_examples=120, deadline=None)
def test_in_any_hand_written_file_a_value_is_set_and_no_other_line_is_touched(
    file, table, key, value
):
    text, data, lines = file
    assert tomllib.loads(text) == data
    changed = with_value(text, (table, key), value)
    wanted = deepcopy(data)
    put(wanted, (table, key), value)
    assert tomllib.loads(changed) == wanted
    mine = {line for path, line in lines if path in ((table, key), (table,))}
    gone = lines_gone(text if text.endswith("\n") or not text else text + "\n", changed)
    assert {line.rstrip("\r\n") for line in gone} <= mine | {lines[-1][1] if lines else ""}
    assert len(gone) <= 1 + (not text.endswith("\n"))


@given(hand_written(), st.data())
@examples(max_examples=120, deadline=None)
def test_in_any_hand_written_file_a_value_is_taken_out_and_no_other_but_empty_lines(file, choose):
    text, data, lines = file
    paths = [(t, k) for t, keys in data.items() for k in keys]
    if not paths:
        assert without(text, ("a", "b")) == text
        return
    path = choose.draw(st.sampled_from(paths))
    changed = without(text, path)
    wanted = deepcopy(data)
    del wanted[path[0]][path[1]]
    found = tomllib.loads(changed)
    assert {k: v for k, v in found.items() if v} == {k: v for k, v in wanted.items() if v}
    mine = {line for each, line in lines if each in (path, path[:1])}
    gone = [line.rstrip("\r\n") for line in lines_gone(text, changed)]
    assert all(line in mine or not line.strip() for line in gone)
