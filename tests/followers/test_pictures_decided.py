"""Yes, no, blur, crop, take down: nothing is shown without consent and the grower's yes."""

import io
import json
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from PIL import Image

from lapsekit.errors import ChangedMeanwhile, FollowerError
from lapsekit.followers import deciding, gone, outbox, retention
from lapsekit.followers import records as records_module
from lapsekit.followers.answering import with_answer
from lapsekit.followers.areas import Areas
from lapsekit.followers.letters import Text
from lapsekit.followers.receiving import take_in
from lapsekit.followers.records import (
    FOLDER,
    STATES,
    change,
    read_picture,
    read_record,
    records,
    write_record,
)
from lapsekit.followers.showing import shown
from lapsekit.followers.wordings import wording
from tests.followers.arriving import NOW, arrival, consent, encoded, followed


@pytest.fixture
def bench(tmp_path):
    return followed(tmp_path / "bench")[0]


def received(season, seed=1, **changed):
    return take_in(season, arrival(seed, **changed))


def array(jpeg):
    return np.array(Image.open(io.BytesIO(jpeg)), dtype=float)


def test_only_what_the_grower_said_yes_to_is_shown_and_only_while_they_do(bench):
    one, other = received(bench, 1), received(bench, 2)
    deciding.show(bench, one.id)
    deciding.decline(bench, other.id)
    assert [each.id for each in shown(bench)] == [one.id]
    deciding.back_to_waiting(bench, one.id)
    assert shown(bench) == []
    assert read_record(bench, one.id).state == "waiting"


@pytest.mark.parametrize(
    "end", [deciding.back_to_waiting, deciding.decline, deciding.take_down_by_id]
)
def test_a_picture_whose_yes_was_taken_back_since_is_not_given_out(bench, end):
    one = received(bench)
    deciding.show(bench, one.id)
    (given,) = shown(bench)
    assert given.picture()
    end(bench, one.id)
    with pytest.raises(FollowerError):
        given.picture()


@pytest.mark.parametrize(
    ("agreed", "why"),
    [
        (None, "nobody agreed"),
        (consent(is_adult=False), "no parent"),
        (consent(is_adult=False, parent="  "), "no parent"),
    ],
    ids=["nobody", "minor", "blank"],
)
def test_without_a_consent_that_suffices_a_yes_is_refused(bench, agreed, why):
    waits = received(bench, consent=agreed)
    with pytest.raises(FollowerError, match=why):
        deciding.show(bench, waits.id)
    assert read_record(bench, waits.id).state == "waiting"
    deciding.agree(bench, waits.id, consent(is_adult=False, parent="Bo"))
    deciding.show(bench, waits.id)
    assert [each.id for each in shown(bench)] == [waits.id]


CHANGES = {
    "name": lambda season, id: deciding.correct(season, id, name="Bo"),
    "plant": lambda season, id: deciding.correct(season, id, plant="Chives"),
    "region": lambda season, id: deciding.correct(season, id, region="chives"),
    "caption": lambda season, id: deciding.correct(season, id, caption="Another"),
    "day": lambda season, id: deciding.correct(season, id, sown=date(2031, 4, 2)),
    "crop": lambda season, id: deciding.keep_areas(season, id, Areas((0, 0, 100, 100))),
    "blur": lambda season, id: deciding.keep_areas(season, id, Areas(None, [(0, 0, 100, 100)])),
    "consent": lambda season, id: deciding.agree(season, id, consent(is_adult=False, parent="P")),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_yes_counts_for_what_was_seen_and_for_nothing_else(bench, what):
    waits = received(bench)
    seen = deciding.mark_of(read_record(bench, waits.id))
    CHANGES[what](bench, waits.id)
    with pytest.raises(ChangedMeanwhile, match="changed since"):
        deciding.show(bench, waits.id, seen)
    assert read_record(bench, waits.id).state == "waiting" and shown(bench) == []
    deciding.show(bench, waits.id, deciding.mark_of(read_record(bench, waits.id)))
    assert [each.id for each in shown(bench)] == [waits.id]


@pytest.mark.parametrize("what", CHANGES)
def test_areas_are_kept_of_what_was_seen_and_of_nothing_else(bench, what):
    waits = received(bench)
    seen = deciding.mark_of(read_record(bench, waits.id))
    CHANGES[what](bench, waits.id)
    now = read_record(bench, waits.id)
    with pytest.raises(ChangedMeanwhile, match="nothing is kept"):
        deciding.keep_areas(bench, waits.id, Areas((0, 0, 200, 200)), seen)
    assert read_record(bench, waits.id) == now
    deciding.keep_areas(bench, waits.id, Areas((0, 0, 200, 200)), deciding.mark_of(now))
    assert read_record(bench, waits.id).crop == (0, 0, 200, 200)


def test_what_is_noted_beside_it_does_not_stand_in_the_way_of_a_yes(bench):
    waits = received(bench)
    seen = deciding.mark_of(read_record(bench, waits.id))
    deciding.ask_again(bench, waits.id, "Which variety is it?")
    deciding.renew_code(bench, waits.id)
    assert deciding.show(bench, waits.id, seen).state == "shown"


def test_a_sender_who_did_not_confirm_is_not_believed(bench):
    waits = received(bench)
    change(bench, waits.id, "", lambda record: replace(record, is_confirmed=False))
    with pytest.raises(FollowerError, match="confirmed"):
        deciding.show(bench, waits.id)


def test_a_folder_moved_by_hand_to_shown_is_not_shown_without_consent(bench):
    waits = received(bench, consent=None)
    base = bench.folder / FOLDER
    (base / "shown").mkdir()
    (base / "waiting" / waits.id).rename(base / "shown" / waits.id)
    assert shown(bench) == []


def test_when_minors_are_no_longer_taken_their_pictures_leave_the_site(tmp_path):
    bench, dial = followed(tmp_path / "b")
    waits = received(bench, consent=consent(is_adult=False, parent="Bo"))
    deciding.show(bench, waits.id)
    settings = bench.folder / "season.toml"
    settings.write_text(settings.read_text() + 'minors = "never"\n')
    assert shown(type(bench)(bench.folder, dial)) == []


def test_what_is_blurred_is_so_for_good_once_shown_and_before_only_for_readers(bench):
    fine = Image.fromarray(np.random.default_rng(1).integers(0, 255, (240, 320, 3), "u1"))
    waits = received(bench, data=encoded(fine, quality=95))
    clean = array(read_picture(bench, waits.id))
    deciding.keep_areas(bench, waits.id, Areas(None, [(20, 20, 120, 120)]))
    assert (array(read_picture(bench, waits.id)) == clean).all()  # can still be undone
    deciding.show(bench, waits.id)
    made = array(read_picture(bench, waits.id))
    assert abs(np.diff(made[30:110, 30:110], axis=1)).mean() < 3
    assert abs(np.diff(made[140:, 140:], axis=1)).mean() > 30
    files = [f for f in (bench.folder / FOLDER).rglob("*") if f.suffix == ".jpg"]
    assert len(files) == 1  # the picture as it was is nowhere any more
    deciding.back_to_waiting(bench, waits.id)
    assert (array(read_picture(bench, waits.id)) == made).all()


def test_a_shown_picture_is_blurred_at_once_and_readers_are_told_that_it_changed(bench):
    waits = received(bench)
    deciding.show(bench, waits.id)
    before = shown(bench)[0].mark
    deciding.keep_areas(bench, waits.id, Areas(None, [(0, 0, 320, 240)]))
    assert shown(bench)[0].mark != before
    assert read_record(bench, waits.id).blurred == ()


def test_a_blur_that_was_cut_off_is_shown_blurred_and_done_at_the_next_tidying(bench):
    waits = received(bench)
    deciding.show(bench, waits.id)
    folder = bench.folder / FOLDER / "shown" / waits.id
    clean = read_picture(bench, waits.id)
    write_record(folder, replace(read_record(bench, waits.id), blurred=((0, 0, 320, 240),)))
    assert abs(array(shown(bench)[0].picture()) - array(clean)).mean() > 3
    retention.tidy(bench)
    assert read_picture(bench, waits.id) != clean
    assert read_record(bench, waits.id).blurred == ()


def vast(jpeg):
    """The same, whose head says that it has 65,000 × 65,000 px."""
    at = jpeg.index(b"\xff\xc0") + 5
    return jpeg[:at] + b"\xfd\xe8" * 2 + jpeg[at + 4 :]


@pytest.mark.parametrize(
    "damage",
    [lambda jpeg: b"", lambda jpeg: jpeg[:2000], lambda jpeg: b"GIF89a" + jpeg, vast],
    ids=["empty", "cut off", "no JPEG", "vast"],
)
def test_a_damaged_picture_is_told_as_one_and_never_given_out_unblurred(bench, damage):
    mine = received(bench)
    deciding.keep_areas(bench, mine.id, Areas(None, [(0, 0, 100, 100)]))
    file = bench.folder / FOLDER / "waiting" / mine.id / "picture.jpg"
    file.write_bytes(damage(file.read_bytes()))
    with pytest.raises(FollowerError, match="is damaged"):
        deciding.show(bench, mine.id)
    (given,) = shown(bench)
    with pytest.raises(FollowerError, match=f"take-down {mine.id}"):
        given.picture()
    retention.tidy(bench)


def test_a_crop_shows_just_that_part_and_can_be_undone(bench):
    waits = received(bench)
    deciding.show(bench, waits.id)
    deciding.keep_areas(bench, waits.id, Areas((40, 30, 240, 180)))
    seen = shown(bench)[0]
    assert (seen.width, seen.height) == (200, 150)
    whole = array(read_picture(bench, waits.id))
    assert abs(array(seen.picture()) - whole[30:180, 40:240]).mean() < 3
    deciding.keep_areas(bench, waits.id, Areas())
    assert (shown(bench)[0].width, shown(bench)[0].height) == (320, 240)


@pytest.mark.parametrize(
    "box", [(-1, 0, 100, 100), (0, 0, 321, 100), (50, 50, 50, 150), (9, 9, 40, 40), (90, 0, 10, 90)]
)
def test_an_area_outside_of_the_picture_is_refused(bench, box):
    waits = received(bench)
    with pytest.raises(FollowerError, match="area"):
        deciding.keep_areas(bench, waits.id, Areas(box))
    assert read_record(bench, waits.id).crop is None


def test_what_was_told_can_be_corrected_and_the_age_follows(bench):
    waits = received(bench)
    record = deciding.correct(
        bench, waits.id, caption="two\nlines", region="chives", sown=date(2031, 4, 9)
    )
    assert (record.caption, record.region, record.age_days) == ("two lines", "chives", 40)
    assert deciding.correct(bench, waits.id, sown="").age_days is None
    with pytest.raises(FollowerError, match="before"):
        deciding.correct(bench, waits.id, sown=date(2031, 5, 30))
    with pytest.raises(FollowerError, match="regions"):
        deciding.correct(bench, waits.id, region="../x")


def test_a_follower_takes_their_picture_down_with_the_code_alone(bench):
    mine, other = received(bench, 1), received(bench, 2)
    deciding.show(bench, mine.id)
    assert deciding.take_down(bench, other.code.replace(other.code[0], "A")) in (None, other.id)
    assert deciding.take_down(bench, mine.code.lower().replace("-", " ")) == mine.id
    assert shown(bench) == []
    left = list((bench.folder / FOLDER).rglob(f"*{mine.id}*"))
    assert left == []
    assert deciding.take_down(bench, mine.code) is None
    text = (bench.folder / FOLDER / gone.TAKEN_DOWN).read_text()
    assert text == f"id,day,why\n{mine.id},2031-05-20,taken down\n"


def test_a_right_code_counts_though_its_record_is_moved_during_the_search(bench, monkeypatch):
    waits, mine = received(bench, 1), received(bench, 2)
    deciding.show(bench, mine.id)
    read, moved = records_module._read, []

    def moved_behind(folder):
        if folder.name == waits.id and not moved:
            moved.append(mine.id)
            deciding.back_to_waiting(bench, mine.id)  # where nobody looks any more
        return read(folder)

    monkeypatch.setattr(records_module, "_read", moved_behind)
    assert deciding.take_down(bench, mine.code) == mine.id
    assert moved == [mine.id] and [each.id for each in records(bench)] == [waits.id]


def test_a_renewed_code_takes_the_place_of_the_one_before(bench):
    mine = received(bench)
    code = deciding.renew_code(bench, mine.id)
    assert deciding.take_down(bench, mine.code) is None
    assert deciding.take_down(bench, code) == mine.id


def test_a_taking_down_that_was_cut_off_is_not_shown_and_ended_at_the_next_tidying(bench):
    mine = received(bench)
    deciding.show(bench, mine.id)
    file = bench.folder / FOLDER / gone.TAKEN_DOWN
    file.write_text(f"id,day,why\n{mine.id},2031-05-20,taken down\n")
    assert shown(bench) == []
    retention.tidy(bench)
    assert records(bench) == []


def test_the_history_says_what_was_done_and_when(bench):
    waits = received(bench)
    deciding.ask_again(bench, waits.id, "consent")
    deciding.show(bench, waits.id)
    record = read_record(bench, waits.id)
    assert [each.what for each in record.history] == ["came by upload", "asked again", "shown"]
    assert record.history[-1].at == NOW and record.asked == ""


def test_the_words_that_were_agreed_to_are_kept_with_their_version(bench):
    text = wording(bench, "en")
    received(bench, consent=consent(wording=text.version))
    kept = bench.folder / FOLDER / "wordings" / f"{text.version}.en.txt"
    assert kept.read_text() == text.text
    assert "School office, 12" in text.text


def test_the_wording_has_another_version_when_it_says_something_else(tmp_path):
    one, _ = followed(tmp_path / "one")
    other, _ = followed(tmp_path / "other", 'minors = "never"\n')
    assert wording(one, "en").version != wording(other, "en").version
    assert wording(one, "en").version == wording(one, "xx").version


def test_what_was_kept_long_enough_goes_and_nothing_before(tmp_path):
    bench, dial = followed(tmp_path / "b")
    waits, declined, seen = (received(bench, n, contact="a@b.example") for n in (1, 2, 3))
    deciding.decline(bench, declined.id)
    deciding.show(bench, seen.id)
    dial.now = NOW + timedelta(days=14)
    assert retention.tidy(bench) == retention.TidyReport()
    dial.now = NOW + timedelta(days=15)
    planned = retention.tidy(bench, dry_run=True)
    assert planned.declined == [declined.id] and len(records(bench)) == 3
    assert retention.tidy(bench) == planned
    dial.now = NOW + timedelta(days=61)
    assert retention.tidy(bench).waited == [waits.id]
    dial.now = NOW + timedelta(days=181)
    assert retention.tidy(bench).contacts == [seen.id]
    assert read_record(bench, seen.id).contact == ""
    assert [each.id for each in shown(bench)] == [seen.id]
    assert gone.gone_ids(bench.folder) == {waits.id, declined.id}
    assert "a@b.example" not in json.dumps(
        [f.read_text() for f in (bench.folder / FOLDER).rglob("*.json")]
    )


def test_what_was_decided_while_old_pictures_are_deleted_is_kept(tmp_path, monkeypatch):
    bench, dial = followed(tmp_path / "b")
    shown_now, taken_down, old = (received(bench, n, contact="a@b.example") for n in (1, 2, 3))
    dial.now = NOW + timedelta(days=61)

    def found_before_that(season, *state):
        found = records(season, *state)
        if not state:
            deciding.show(bench, shown_now.id)
            deciding.take_down_by_id(bench, taken_down.id)
        return found

    monkeypatch.setattr(retention, "records", found_before_that)
    assert retention.tidy(bench) == retention.TidyReport(waited=[old.id])
    assert [each.id for each in shown(bench)] == [shown_now.id]
    assert [each.id for each in records(bench)] == [shown_now.id]
    told = (bench.folder / FOLDER / gone.TAKEN_DOWN).read_text()
    assert f"{taken_down.id},2031-07-20,taken down" in told


def test_an_answer_that_comes_while_addresses_are_deleted_keeps_the_address(tmp_path, monkeypatch):
    bench, dial = followed(tmp_path / "b", "keep_contact_days = 30\n")
    mine = received(bench, contact="a@b.example")
    dial.now = NOW + timedelta(days=31)

    def found_before_that(season, *state):
        found = records(season, *state)
        if not state:
            deciding.correct(bench, mine.id, caption="Told more")
        return found

    monkeypatch.setattr(retention, "records", found_before_that)
    assert retention.tidy(bench) == retention.TidyReport()
    assert read_record(bench, mine.id).contact == "a@b.example"


def test_deleting_the_address_lets_a_picture_be_kept_no_longer(tmp_path):
    bench, dial = followed(tmp_path / "b", "keep_contact_days = 30\nkeep_waiting_days = 60\n")
    mine = received(bench, contact="a@b.example")
    dial.now = NOW + timedelta(days=31)
    assert retention.tidy(bench).contacts == [mine.id]
    dial.now = NOW + timedelta(days=60)
    assert retention.tidy(bench) == retention.TidyReport()
    dial.now = NOW + timedelta(days=61)
    assert retention.tidy(bench).waited == [mine.id]
    assert records(bench) == []


def test_letters_and_addresses_are_forgotten_though_no_mail_comes_any_more(tmp_path):
    bench, dial = followed(tmp_path / "b", "keep_declined_days = 14\n")
    outbox.add_loose(bench, "key", "a@b.example", "<1@b.example>", Text("Subject", "Text"))
    outbox.change_outbox(bench, lambda box: box.with_sent("c@d.example", NOW))
    file = bench.folder / FOLDER / outbox.FILE
    dial.now = NOW + timedelta(days=1)
    retention.tidy(bench, dry_run=True)
    assert "c@d.example" in file.read_text()
    retention.tidy(bench)
    assert "c@d.example" not in file.read_text() and "a@b.example" in file.read_text()
    dial.now = NOW + timedelta(days=15)
    retention.tidy(bench)
    assert "b.example" not in file.read_text()
    assert outbox.read_outbox(bench) == outbox.Outbox()


@pytest.mark.parametrize("number", [-1, 1, 99])
def test_an_answer_that_is_none_or_went_out_before_is_not_noted_as_sent(bench, number):
    mine = received(bench)
    change(bench, mine.id, "", lambda r: with_answer(r, "received", Text("S", "T"), NOW))
    with pytest.raises(FollowerError, match="not there"):
        deciding.answer_sent(bench, mine.id, number)
    deciding.answer_sent(bench, mine.id, 0)
    with pytest.raises(FollowerError, match="sent before"):
        deciding.answer_sent(bench, mine.id, 0)


def test_every_state_has_its_folder_and_an_interrupted_filing_leaves_nothing(bench):
    waits = received(bench)
    half = bench.folder / FOLDER / ".making-0123456789abcdef"
    half.mkdir()
    (half / "picture.jpg").write_bytes(b"half")
    assert [record.id for record in records(bench)] == [waits.id]
    retention.tidy(bench)
    assert not half.exists()
    assert STATES == ("waiting", "shown", "declined")
