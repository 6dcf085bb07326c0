"""Settings at the desk: forms out of the models, a hand's file kept, wrong values told in place."""

import re
import tomllib

import pytest

from lapsekit.desk.settings import CAMERAS, TABLES
from lapsekit.desk.settings_fields import fields, label_of, understood
from lapsekit.desk.settings_help import HELP, help_of
from lapsekit.desk.settings_labels import LABELS, labels_of
from tests.axe import findings

BY_HAND = """\
# our roof
[season]
title = "Test bench" # as on the sign
time_zone = "CET"
sown = 2031-03-25

[cameras.bench]
kind = "files"
px_per_cm = 10

[capture]
# when the sun is high
daily_at = "12:00"   # noon
every_minutes = 30

[screening]
blurred_above = 1

[canopy]
method = "exgr"
"""


@pytest.fixture
def by_hand(folder):
    (folder / "season.toml").write_text(BY_HAND)
    return folder / "season.toml"


def test_only_what_was_changed_is_written_and_comments_stay(page, by_hand):
    page.goto("/settings/capture")
    page.get_by_label("Daily picture at").fill("11:30")
    page.get_by_label("Room that stays free (MB)").fill("500")  # what is usual
    page.get_by_role("button", name="Save").click()
    assert by_hand.read_text() == BY_HAND.replace('"12:00"', '"11:30"')
    page.get_by_role("button", name="Undo").click()
    assert by_hand.read_text() == BY_HAND


def test_a_field_that_is_emptied_leaves_the_file(page, by_hand):
    page.goto("/settings/capture")
    page.get_by_label("A picture every so many minutes").fill("")
    page.get_by_role("button", name="Save").click()
    assert by_hand.read_text() == BY_HAND.replace("every_minutes = 30\n", "")


def test_a_wrong_value_is_told_at_its_field_and_nothing_is_written(page, by_hand):
    page.goto("/settings/capture")
    page.get_by_label("A picture every so many minutes").fill("soon")
    page.get_by_label("Daily picture at").fill("11:00")
    page.get_by_role("button", name="Save").click()
    assert by_hand.read_text() == BY_HAND
    wrong = page.locator(".field.wrong")
    assert wrong.count() == 1
    assert '"soon": write a whole number from 1 to 1440' in wrong.inner_text()
    assert page.get_by_label("A picture every so many minutes").input_value() == "soon"
    assert page.get_by_label("Daily picture at").input_value() == "11:00"


def test_a_hand_edit_between_page_and_form_is_told_and_stays(page, by_hand):
    page.goto("/settings/season")
    edited = BY_HAND.replace("as on the sign", "as on the new sign")
    by_hand.write_text(edited)
    page.get_by_label("Title").fill("Another")
    page.get_by_role("button", name="Save").click()
    assert page.locator("h1").inner_text() == "Somebody else was quicker"
    assert by_hand.read_text() == edited


def test_choices_and_tables_that_are_not_there_yet_are_made(page, by_hand):
    page.goto("/settings/film")
    page.get_by_label("curve", exact=True).check()
    page.get_by_label("date", exact=True).check()
    page.get_by_label("Steady").select_option("no")
    page.get_by_role("button", name="Save").click()
    film = tomllib.loads(by_hand.read_text())["film"]
    assert film == {"shows": ["date", "curve"], "steady": False}
    page.get_by_label("Steady").select_option(index=0)
    page.get_by_label("curve", exact=True).uncheck()
    page.get_by_label("date", exact=True).uncheck()
    page.get_by_role("button", name="Save").click()
    assert not tomllib.loads(by_hand.read_text()).get("film")


def test_the_text_itself_keeps_its_line_endings_and_refuses_what_cannot_be(page, by_hand):
    by_hand.write_bytes(BY_HAND.replace("\n", "\r\n").encode())
    page.goto("/settings/text/season.toml")
    content = page.get_by_label("The whole file")
    content.fill(content.input_value().replace("our roof", "our new roof"))
    page.get_by_role("button", name="Save").click()
    wanted = BY_HAND.replace("our roof", "our new roof").replace("\n", "\r\n").encode()
    assert by_hand.read_bytes() == wanted
    content.fill("[season")
    page.get_by_role("button", name="Save").click()
    assert "Nothing was written" in page.locator(".refusal").inner_text()
    assert content.input_value() == "[season"
    assert by_hand.read_bytes() == wanted


@pytest.mark.parametrize("name", ["../season.toml", "weather.csv", "catalogue.sqlite", ".desk"])
def test_no_other_file_can_be_asked_for(page, name):
    assert page.request.get(f"/settings/text/{name}").status == 404


def test_settings_are_usable_by_everyone(page, by_hand):
    for path in ("/settings/", "/settings/film", "/settings/text/season.toml"):
        page.goto(path)
        assert findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360


def every_field():
    tables = {name: model for name, (_, model) in TABLES.items()}
    cameras = {f"cameras.{kind}": model for kind, model in CAMERAS.items()}
    for name, model in (tables | cameras).items():
        told = help_of(name, name.removeprefix("cameras."))
        for field in fields(model, {}, told, labels_of(name)):
            yield name, field


def test_every_setting_is_explained_in_whole_sentences():
    told = list(every_field())
    assert len(told) > 150
    assert [(name, field.key) for name, field in told if not field.help] == []
    sentence = re.compile(r"[A-Z0-9“].*[.\])]", re.DOTALL)
    for name, field in told:
        assert sentence.fullmatch(field.help), (name, field.key, field.help)
        assert field.help.endswith("."), (name, field.key)


def test_every_number_s_label_says_what_is_counted_and_no_label_is_kept_for_nothing():
    counted = re.compile(
        r"\(|number|Pictures|pictures|Pixels|Frames|Answers|minutes|hours|days|port"
    )
    known = {}
    for name, field in every_field():
        known.setdefault("cameras" if name.startswith("cameras.") else name, set()).add(field.key)
        if field.kind in ("whole", "number"):
            assert counted.search(field.label) or field.key in ("gain", "ssh_port"), field
    for table, labels in LABELS.items():
        assert set(labels) <= known[table], table


def test_an_inbox_without_a_contact_is_refused_at_both_fields_and_help_says_so_before(
    page, by_hand
):
    page.goto("/settings/followers")
    inbox = page.get_by_label("Folder for pictures that came another way")
    told = page.locator(f"#{inbox.get_attribute('aria-describedby')}").inner_text()
    assert "whom followers can turn to" in told and "in the season's folder" in told
    inbox.fill("inbox")
    page.get_by_role("button", name="Save").click()
    assert page.locator(".field.wrong label").all_inner_texts() == [
        "Whom followers can turn to",
        "Folder for pictures that came another way",
    ]
    assert "/season.toml" not in page.locator("main").inner_text()
    assert by_hand.read_text() == BY_HAND
    page.get_by_label("Whom followers can turn to").fill("The office, room 3")
    page.get_by_role("button", name="Save").click()
    told = page.locator("#notes").inner_text()
    assert "“Whom followers can turn to”, “Folder for pictures that came another way” set" in told
    assert (by_hand.parent / "inbox").is_dir()


@pytest.mark.parametrize("inbox", [".", "frames", "followers/waiting"])
def test_an_inbox_that_holds_something_else_is_refused_at_its_field(page, by_hand, inbox):
    page.goto("/settings/followers")
    page.get_by_label("Whom followers can turn to").fill("The office, room 3")
    page.get_by_label("Folder for pictures that came another way").fill(inbox)
    page.get_by_role("button", name="Save").click()
    wrong = page.locator(".field.wrong")
    assert wrong.locator("label").all_inner_texts() == ["Folder for pictures that came another way"]
    assert "name a folder for these pictures alone" in wrong.inner_text()
    assert by_hand.read_text() == BY_HAND


def test_an_inbox_in_the_home_folder_is_not_made_in_the_seasons(page, by_hand):
    page.goto("/settings/followers")
    page.get_by_label("Whom followers can turn to").fill("The office, room 3")
    page.get_by_label("Folder for pictures that came another way").fill("~/drop")
    page.get_by_role("button", name="Save").click()
    assert "Make the folder ~/drop yourself" in page.locator("#notes").inner_text()
    assert not (by_hand.parent / "~").exists()


def test_no_help_is_kept_for_a_setting_that_there_is_not():
    keys = {}
    for name, field in every_field():
        keys.setdefault(name.partition(".")[0] if name.startswith("cam") else name, set()).add(
            field.key
        )
    for table, told in HELP.items():
        known = keys.get(table) or keys["cameras"]
        assert set(told) - {""} <= known, table


def test_the_upload_pages_limits_have_a_form(page, by_hand):
    page.goto("/settings/")
    page.get_by_role("link", name="How much the upload page takes").click()
    page.get_by_label("Pictures a day, from one address").fill("20")
    page.get_by_role("button", name="Save").click()
    assert tomllib.loads(by_hand.read_text())["followers"] == {"page": {"a_day_each": 20}}
    page.get_by_label("Most pictures in one sending").fill("99")
    page.get_by_role("button", name="Save").click()
    assert "20" in page.locator(".field.wrong .refusal").inner_text()
    assert tomllib.loads(by_hand.read_text())["followers"] == {"page": {"a_day_each": 20}}
    assert findings(page) == []


def test_a_field_s_words_become_the_value_they_mean():
    assert understood("12,5", "number") == 12.5
    assert understood("", "text") is None
    assert understood("[[1, 2], [3, 4]]", "toml") == [[1, 2], [3, 4]]
    assert understood("many", "whole") == "many"
    assert label_of("bandwidth_kb_s") == "Bandwidth (kB/s)"
