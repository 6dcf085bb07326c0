"""What a follower filled in: read, or told what is missing."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.language.words import ENGLISH
from lapsekit.receive.told import FIELDS, Asks, read_told

ASKS = Asks(wording="v1", minors="parent", today=date(2031, 5, 1), regions=("Basil",))
GOOD = {"age": "adult", "agree": "yes", "wording": "v1"}


def told(**fields):
    return read_told(GOOD | fields, ASKS, ENGLISH)


@pytest.mark.parametrize("day", ["2031-04-17", "2031-4-17", "17.4.2031", "17. April", "4/17/2031"])
def test_a_day_is_read_as_it_is_in_mails(day):
    assert told(sown=day).sown == date(2031, 4, 17)


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({}, set()),
        ({"agree": ""}, {"agree"}),
        ({"agree": "on"}, {"agree"}),
        ({"wording": "v0"}, {"agree"}),
        ({"age": ""}, {"age"}),
        ({"age": "minor"}, {"parent"}),
        ({"age": "minor", "parent": " "}, {"parent"}),
        ({"age": "minor", "parent": "P"}, set()),
        ({"sown": "2031-05-02"}, {"sown"}),
        ({"sown": "2031-02-30"}, {"sown"}),
        ({"taken": "some day"}, {"taken"}),
        ({"taken": "3/4/2031"}, {"taken"}),
        ({"taken": "yesterday"}, set()),
        ({"sown": "2031-04-02", "taken": "2031-04-01"}, {"sown"}),
        ({"sown": "2031-04-01", "taken": "2031-04-01"}, set()),
        ({"contact": "a@b"}, set()),
        ({"contact": "a@b\nBcc: c@d"}, {"contact"}),
        ({"contact": "a b@c"}, {"contact"}),
        ({"contact": "a@b..c"}, {"contact"}),
        ({"contact": f"a@{'b' * 300}"}, {"contact"}),
        ({"contact": "a@b,c@d"}, {"contact"}),
    ],
)
def test_only_the_field_that_is_wrong_is_told(fields, wrong):
    assert set(told(**fields).problems) == wrong


def test_a_plant_that_is_not_on_the_list_is_not_chosen():
    assert told(region="Basil").fields["region"] == "Basil"
    assert told(region="../basil").fields["region"] == ""


def test_a_minor_is_refused_where_none_are_taken():
    asks = Asks(wording="v1", minors="never", today=ASKS.today, regions=())
    found = read_told(GOOD | {"age": "minor", "parent": "P"}, asks, ENGLISH)
    assert set(found.problems) == {"age"}


@given(st.dictionaries(st.sampled_from([*FIELDS, "agree", "wording"]), st.text(max_size=700)))
def test_whatever_is_sent_is_read_and_comes_out_on_one_line_of_bounded_length(form):
    found = read_told(form, ASKS, ENGLISH)
    assert set(found.fields) == set(FIELDS)
    for value in found.fields.values():
        assert len(value) <= 500 and "\n" not in value and "\u202e" not in value
    assert "agree" in found.problems or form.get("agree") == "yes"
