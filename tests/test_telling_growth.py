"""What ``lapsekit growth`` says in a terminal of 80 columns."""

from datetime import timedelta

import pytest

from lapsekit.catalogue import Daily
from lapsekit.foretelling import Final, Foretold
from lapsekit.growth.fits import Comparison
from lapsekit.reporting import report_growth
from lapsekit.telling_growth import foretold, grown
from tests.scenes import FIRST_DAY, REGIONS, make_season

LABELS = [
    ("Basil", "Chives"),
    ("Green loose-leaf lettuce in the long trough by the door", "Chives"),
    (
        "Lettuce in the long trough by the wall, left",
        "Lettuce in the long trough by the wall, right",
    ),
    ("The long trough by the wall, cell 11, north", "The long trough by the wall, cell 12, north"),
]


def told(folder, labels):
    """The table's lines: basil grows steadily from day to day, chives stand still."""
    regions = REGIONS
    for name, label in zip(("basil", "chives"), labels, strict=True):
        regions = regions.replace(f'name = "{name}"', f'name = "{name}"\nlabel = "{label}"')
    season = make_season(folder, regions=regions)
    rows = []
    for day in range(12):
        for name, area in (("basil", 120 * 1.08**day), ("chives", 1234.5 + day % 2)):
            ends = (area, area * 0.96, area * 1.04)
            cover = (0.2, 0.19, 0.21)
            rows.append(Daily(name, FIRST_DAY + timedelta(day), *cover, *ends, 5, {}))
    season.catalogue.store_daily(rows)
    lines = grown(report_growth(season), season)
    season.catalogue.close()
    return lines[: lines.index("")]


@pytest.mark.parametrize("labels", LABELS)
def test_every_number_stands_in_its_column_within_80_letters_whatever_plants_are_called(
    tmp_path, labels
):
    plain, lines = told(tmp_path / "plain", LABELS[0]), told(tmp_path / "named", labels)
    assert max(map(len, lines)) <= 80
    numbers = {line[line.index("2031-") :] for line in plain if "2031-" in line}
    rows = [line for line in lines if "2031-" in line]
    assert {row[row.index("2031-") :] for row in rows} == numbers
    assert {row.index("2031-") for row in rows} == {lines[0].index("day ")}
    assert any(row.endswith("  9 d") for row in rows)
    assert any(row.endswith("  -") for row in rows)
    assert lines[-1] == "-: not shown to grow"


def test_long_labels_give_way_in_their_middle_and_stand_whole_where_they_would_be_alike(tmp_path):
    _, basil, chives, _ = told(tmp_path / "one", LABELS[1])
    assert basil.split("  ")[0] == "Green loose-l…e door"
    assert chives.startswith("Chives  ")
    head, *lines = told(tmp_path / "two", LABELS[3])
    assert lines[0] == LABELS[3][0] and lines[2] == LABELS[3][1]
    assert lines[1].startswith(" " * head.index("day"))


@pytest.mark.parametrize("label", ["Chives", LABELS[3][0]])
def test_plants_of_the_very_same_title_get_no_line_that_tells_nothing_apart(tmp_path, label):
    _, *lines = told(tmp_path / "alike", (label, label))
    assert len(lines) == 3
    assert all(line.startswith(label[:8]) for line in lines[:2])


@pytest.mark.parametrize(
    ("by", "told_as"),
    [
        ("richards", "Richards growth"),
        ("logistic, gompertz", "logistic and Gompertz growth"),
        ("expolinear, logistic, gompertz", "expolinear, logistic and Gompertz growth"),
    ],
)
def test_growth_laws_are_named_as_a_sentence_does(tmp_path, by, told_as):
    season = make_season(tmp_path, regions=REGIONS)
    found = Foretold(Comparison((), (), {}), Final(586.0, 582.0, 589.0, by, False), (), 0)
    lines = foretold({"basil": found}, season)
    season.catalogue.close()
    assert any(f"levels off at 586 cm² (582 to 589) by {told_as}." in line for line in lines)
