"""Imports run one way: a module uses only what lies before it on a frame's road."""

import ast
from pathlib import Path

import pytest

import lapsekit

PACKAGE = Path(lapsekit.__file__).parent

ORDER = [
    {"errors", "counted", "lengths", "resources", "progress", "safely", "plain", "rows", ""},
    {"lettering"},
    {"refusals", "verdicts", "secrets", "texts"},
    {"settings", "when", "day_texts"},
    {"language"},
    {"daylight", "trust", "copied"},
    {"frames", "catalogue"},
    {"locks"},
    {"season", "founding"},
    {"diary", "corrections"},
    {"happened", "diary_lines"},
    {"noting"},
    {"sample"},
    {"cameras", "vision"},
    {"compute", "detail", "memory", "shapes"},
    {"bench_scale"},
    {"judging", "viewing"},
    {"teaching", "aiming", "grounds"},
    {"aiming_picture", "telling_aiming"},
    {"ruler"},
    {"heights", "undone", "other_sizes", "fading"},
    {"clusters"},
    {"held"},
    {"day_values"},
    {"days"},
    {"measuring", "trying_colours", "proposing"},
    {"listing", "thinning"},
    {"masking", "calibrating", "growth"},
    {"sighting", "weather", "growing"},
    {"logger_times", "logger_units"},
    {"logger_header"},
    {"logger_columns"},
    {"logger_file"},
    {"proving_strokes"},
    {"proving", "photographs", "contrasting", "tables"},
    {"long_tables", "plotting", "area_scale", "responding", "noticing", "foretelling", "besides"},
    {"growth_plots", "growth_tables", "alerting"},
    {"reporting"},
    {"edits"},
    {"film", "followers"},
    {"site", "serving", "sheet"},
    {"plates"},
    {"explaining", "places", "posting"},
    {"publishing", "copying"},
    {"checking"},
    {"collecting"},
    {"web"},
    {"unattended", "receive"},
    {"demo", "desk"},
    {"telling_films", "telling_desk", "telling_notes", "growth_table"},
    {
        "telling",
        "telling_care",
        "telling_collection",
        "telling_comparing",
        "telling_copies",
        "telling_followers",
        "telling_growth",
        "telling_minding",
        "telling_proof",
        "telling_regions",
    },
    {"cli"},
    {"__main__"},
]
RANK = {part: rank for rank, parts in enumerate(ORDER) for part in parts}
# A stage asks for its plot only when there is something to draw.
LATE = {("proving", "plotting"), ("besides", "growth_plots")}


def modules():
    return sorted(PACKAGE.rglob("*.py"))


def part_of(path):
    first = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    return "" if first == "__init__" else first


def imported_parts(path):
    """Parts of the package that a module imports at run time."""
    tree = ast.parse(path.read_text())
    typing_only = {
        id(child)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for child in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in typing_only:
            continue
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "lapsekit":
            inner = node.module.split(".")[1:]
            yield from (
                [inner[0]] if inner else [n.name if n.name in RANK else "" for n in node.names]
            )
        elif isinstance(node, ast.Import):
            for name in node.names:
                if name.name.split(".")[0] == "lapsekit":
                    yield ([*name.name.split("."), ""])[1]


def test_every_module_has_its_place_in_the_order():
    assert {part_of(m) for m in modules()} - RANK.keys() == set()


@pytest.mark.parametrize("module", modules(), ids=lambda m: str(m.relative_to(PACKAGE)))
def test_no_module_imports_what_comes_after_it(module):
    own = part_of(module)
    upward = {p for p in imported_parts(module) if RANK[p] > RANK[own] and (own, p) not in LATE}
    assert upward == set()


@pytest.mark.parametrize("folder", ["vision", "growth"])
def test_the_science_imports_no_file_clock_database_or_log(folder):
    forbidden = {"os", "pathlib", "io", "sqlite3", "logging", "time", "shutil", "tempfile", "PIL"}
    for module in (PACKAGE / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(module.read_text())):
            names = (
                [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else ([n.name for n in node.names] if isinstance(node, ast.Import) else [])
            )
            assert not {n.split(".")[0] for n in names} & forbidden, module
            assert not (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "open")


def test_the_rule_would_catch_an_upward_import(tmp_path):
    bad = tmp_path / "x.py"
    bad.write_text("from lapsekit.cli import main\nimport lapsekit.site.build\n")
    assert list(imported_parts(bad)) == ["cli", "site"]
