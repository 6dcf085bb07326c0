"""What a picture's alternative text says, and what it never claims."""

import pytest

from lapsekit.language.words import ENGLISH
from lapsekit.site.alternative import Seen, Value, alternative


def plant(title, now, before=None, spread=0.02, unit="cm²"):
    """A plant measured to `spread`, as a share of its value."""
    values = [
        None if v is None else Value(v, v * (1 - spread), v * (1 + spread)) for v in (now, before)
    ]
    return Seen(title, unit, *values)


def test_a_day_is_told_by_its_age_its_plants_and_what_grew_in_a_week():
    said = alternative(ENGLISH, 34, [plant("Basil", 212.0, 194.5), plant("Cress", None)])
    assert said == (
        "Day 34: 2 plants seen from above. Basil covers 212\u00a0cm², 9 % more than a week ago."
    )


def test_what_shrank_is_told_as_less():
    said = alternative(ENGLISH, 34, [plant("Basil", 90.0, 120.0)])
    assert said.endswith("Basil covers 90\u00a0cm², 25 % less than a week ago.")


def test_intervals_that_overlap_widely_show_no_change():
    said = alternative(ENGLISH, 34, [plant("Basil", 106.0, 100.0, spread=0.1)])
    assert said.endswith("Basil covers 106\u00a0cm², about as much as a week ago.")
    assert "6 % more" in alternative(ENGLISH, 34, [plant("Basil", 106.0, 100.0)])


@pytest.mark.parametrize(
    ("now", "before"),
    [
        (Value(212.0, 205.0, 219.0), None),
        (Value(212.0, 205.0, 219.0), Value(194.5)),
        (Value(212.0), Value(194.5, 190.0, 198.0)),
        (Value(212.0, 205.0, 219.0), Value(0.0, 0.0, 0.0)),
    ],
)
def test_no_change_is_claimed_unless_both_days_are_measured_with_an_interval(now, before):
    said = alternative(ENGLISH, 34, [Seen("Basil", "cm²", now, before)])
    assert said == "Day 34: 1 plant seen from above. Basil covers 212\u00a0cm²."


def test_what_was_not_measured_is_not_named():
    said = alternative(ENGLISH, 3, [plant("Basil", None, 20.0)])
    assert said == "Day 3: 1 plant seen from above."


def test_four_plants_are_named_those_that_changed_most_first():
    plants = [
        plant("A", 500.0),
        plant("B", 110.0, 100.0),
        plant("C", 5.0, 10.0),
        plant("D", 130.0, 100.0),
        plant("E", 400.0, 399.0),
        plant("F", 3.25, 3.25),
    ]
    said = alternative(ENGLISH, 40, plants)
    order = [said.index(f"{name} covers") for name in "DBCA"]
    assert order == sorted(order)
    assert "E covers" not in said and said.endswith("2 more plants were measured.")


def test_without_a_scale_the_share_of_its_place_is_told():
    said = alternative(ENGLISH, 34, [plant("Trough", 8.04, unit="%")])
    assert said.endswith("Trough covers 8.0 % of its place.")


def test_before_sowing_and_without_regions_nothing_is_made_up():
    assert alternative(ENGLISH, -3, []) == "3 days before sowing: the bench seen from above."
    assert alternative(ENGLISH, 0, []) == "Day 0: the bench seen from above."


def test_names_are_put_in_as_they_are():
    said = alternative(ENGLISH, 1, [plant("{value} <b>", 12.0, 10.0)])
    assert "{value} <b> covers 12\u00a0cm², 20 % more" in said
