"""Pictures that the grower put into a folder, by the commands that a grower types."""

import json
import os
import pty
import re
import shutil
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta

import pytest

from lapsekit.checking.finding import Look
from lapsekit.checking.followers import received
from lapsekit.errors import SettingsError
from lapsekit.followers import deciding, folder, retention
from lapsekit.followers.records import records
from lapsekit.followers.showing import shown
from lapsekit.season import Season
from lapsekit.trust import take_back, trust
from tests.followers.arriving import encoded, followed, scene

CODE = re.compile(r"\b[A-Z]{4}(?:-[A-Z]{4}){3}\b")


@pytest.fixture
def bench(tmp_path):
    season, _ = followed(tmp_path / "bench", 'inbox = "came"\n')
    (season.folder / "came").mkdir()
    return season.folder


def lapsekit(bench, *words, code=0):
    command = [sys.executable, "-m", "lapsekit", "followers", *words, "--season", str(bench)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def put(bench, name, data, told=None, age_s=3600):
    file = bench / "came" / name
    file.write_bytes(data)
    os.utime(file, (time.time() - age_s,) * 2)
    if told is not None:
        text = file.with_suffix(".txt")
        text.write_text(told)
        os.utime(text, (time.time() - age_s,) * 2)
    return file


def take_in(bench):
    return folder.take_in_folder(Season(bench))


AGREED = "name: Ada Acorn\nplant: Basil\nagreed: yes\nof age: yes\n"


def names(folder):
    return sorted(path.name for path in folder.iterdir() if path.is_file())


def test_from_the_folder_to_the_site_and_away_again_by_commands(bench):
    put(bench, "one.jpg", encoded(scene(1)), "name: Ada\nplant: Basil\nagreed: yes\nof age: yes\n")
    (taken,) = json.loads(lapsekit(bench, "take-in", "--json"))["taken"]
    code = taken["code"]
    listed = json.loads(lapsekit(bench, "list", "waiting", "--json"))["pictures"]
    assert [(each["name"], each["region"]) for each in listed] == [("Ada", "basil")]
    assert listed[0]["cannot_be_shown"] is None
    lapsekit(bench, "show", listed[0]["id"])
    assert [each.name for each in shown(Season(bench))] == ["Ada"]
    lapsekit(bench, "undo", listed[0]["id"])
    assert shown(Season(bench)) == []
    lapsekit(bench, "decline", listed[0]["id"])
    assert "declined" in lapsekit(bench, "list")
    assert "deleted" in lapsekit(bench, "take-down", code)
    assert records(Season(bench)) == []
    assert "no picture has this code" in lapsekit(bench, "take-down", code, code=65)
    assert "no pictures" in lapsekit(bench, "list")


def test_a_code_is_printed_to_nobody_but_a_terminal_and_stands_in_a_letter(bench):
    put(bench, "one.jpg", encoded(scene(1)))
    assert not CODE.search(lapsekit(bench, "take-in"))
    (record,) = records(Season(bench))
    (letter,) = record.answers
    assert letter.sent_at is None
    code = CODE.search(letter.text)[0]
    put(bench, "two.jpg", encoded(scene(2)))
    command = [sys.executable, "-m", "lapsekit", "followers", "take-in", "--season", str(bench)]
    ours, theirs = pty.openpty()
    subprocess.run(command, stdout=theirs, stderr=subprocess.DEVNULL, check=True)
    os.close(theirs)
    printed = CODE.search(os.read(ours, 10_000).decode())[0]
    os.close(ours)
    second = records(Season(bench))[1]
    assert CODE.search(second.answers[0].text)[0] == printed
    for each, of in ((code, record), (printed, second)):
        assert deciding.take_down(Season(bench), each) == of.id


def test_a_code_whose_letter_was_cut_off_is_renewed_once(bench, monkeypatch):
    file = put(bench, "one.jpg", encoded(scene(1)))

    def cut_off(*_):
        raise SystemExit

    with monkeypatch.context() as patch:
        patch.setattr(folder, "_keep_code", cut_off)
        with pytest.raises(SystemExit):
            folder.take_in_folder(Season(bench))
    assert file.is_file() and records(Season(bench))[0].answers == ()
    folder.take_in_folder(Season(bench))
    put(bench, "one.jpg", encoded(scene(1)))
    assert folder.take_in_folder(Season(bench)).known == ["one.jpg"]
    (record,) = records(Season(bench))
    (letter,) = record.answers
    assert deciding.take_down(Season(bench), CODE.search(letter.text)[0]) == record.id


def everything(folder):
    """The bytes of all files below a folder, whatever they are called."""
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_what_was_taken_in_is_kept_as_it_came_until_it_is_taken_down(bench):
    data = encoded(scene(1).resize((2400, 1800)))
    put(bench, "good.jpg", data, AGREED)
    (taken,) = json.loads(lapsekit(bench, "take-in", "--json"))["taken"]
    kept = bench / "came" / "taken"
    assert names(kept) == [f"{taken['id']}-good.jpg", f"{taken['id']}-good.txt"]
    assert (kept / f"{taken['id']}-good.jpg").read_bytes() == data
    assert kept.stat().st_mode & 0o077 == 0 and names(bench / "came") == []
    lapsekit(bench, "take-down", taken["code"])
    assert b"Ada Acorn" not in everything(bench) and not list(bench.rglob("*.jpg"))


def test_a_take_in_that_is_cut_off_or_refused_for_now_keeps_the_file(bench, monkeypatch):
    file = put(bench, "one.jpg", encoded(scene(1)), "name: Ada\n")

    def cut_off(*_):
        raise SystemExit

    with monkeypatch.context() as patch:
        patch.setattr(folder, "take_in", cut_off)
        with pytest.raises(SystemExit):
            folder.take_in_folder(Season(bench))
    assert file.is_file() and file.with_suffix(".txt").is_file()
    with monkeypatch.context() as patch:  # the record is there, the files not yet moved
        patch.setattr(folder.originals, "keep_originals", cut_off)
        with pytest.raises(SystemExit):
            folder.take_in_folder(Season(bench))
    assert names(bench / "came") == ["one.jpg", "one.txt"]
    assert folder.take_in_folder(Season(bench)).known == ["one.jpg"]
    (record,) = records(Season(bench))
    assert record.name == "Ada" and names(bench / "came") == []
    assert names(bench / "came" / "taken") == [f"{record.id}-one.jpg", f"{record.id}-one.txt"]


def test_what_was_refused_is_deleted_after_the_days_for_declined_pictures(bench):
    put(bench, "bad.jpg", b"GIF89a", "name: Ada\n", age_s=10**8)
    lapsekit(bench, "take-in", code=65)
    lapsekit(bench, "take-in")
    refused = bench / "came" / "refused"
    assert names(refused) == ["bad.jpg", "bad.txt", "bad.why.txt"]
    (refused / "mine.jpg").write_bytes(b"mine")
    (refused / "mine.why.txt").write_text("why I like it")
    for file in refused.iterdir():
        os.utime(file, (time.time() - 86_400 * 365,) * 2)
    (refused / "bad.txt").write_text("written anew")
    lapsekit(bench, "take-in")
    assert names(refused) == ["bad.txt", "bad.why.txt", "mine.jpg", "mine.why.txt"]
    os.utime(refused / "bad.txt", (time.time() - 86_400 * 365,) * 2)
    lapsekit(bench, "take-in")
    assert names(refused) == ["mine.jpg", "mine.why.txt"]


def test_what_is_refused_is_moved_and_says_why(bench):
    put(bench, "good.jpg", encoded(scene(1)), "name: Ada\n")
    put(bench, "bad.jpg", b"GIF89a")
    put(bench, "same.jpg", encoded(scene(1)))
    said = lapsekit(bench, "take-in", code=65)
    assert "bad.jpg: refused. This is no picture" in said
    came = bench / "came"
    assert names(came) == []
    assert names(came / "refused") == ["bad.jpg", "bad.why.txt"]
    assert "JPEG" in (came / "refused" / "bad.why.txt").read_text()
    assert len(records(Season(bench))) == 1
    put(bench, "bad.jpg", b"GIF89a again")
    lapsekit(bench, "take-in", code=65)
    assert "bad-2.jpg" in names(came / "refused")


def test_a_copy_that_stalls_is_not_refused_and_is_taken_once_it_is_whole(bench):
    data = encoded(scene(1))
    file = put(bench, "one.jpg", data[: len(data) // 2], "name: Ada\n", age_s=60)
    ((name, why),) = take_in(bench).left
    assert name == "one.jpg" and "cannot be taken yet" in why
    assert names(bench / "came") == ["one.jpg", "one.txt"]
    put(bench, "one.jpg", data, age_s=60)
    assert [name for name, _ in take_in(bench).taken] == ["one.jpg"]
    assert not file.exists()


def test_a_text_that_is_still_being_written_keeps_its_picture_waiting(bench):
    file = put(bench, "one.jpg", encoded(scene(1)), AGREED)
    os.utime(file.with_suffix(".txt"))
    assert take_in(bench).left == [("one.jpg", folder.STILL_WRITTEN)]
    assert records(Season(bench)) == []


def test_files_dated_ahead_of_this_clock_are_taken_once_they_have_lain_there(bench, monkeypatch):
    put(bench, "one.jpg", encoded(scene(1)), age_s=-86_400)
    assert take_in(bench).left == [("one.jpg", folder.STILL_WRITTEN)]
    monkeypatch.setattr(folder, "_STILL_S", 0.0)
    assert [name for name, _ in take_in(bench).taken] == ["one.jpg"]


@pytest.mark.parametrize("which", ["one.jpg", "one.txt"])
@pytest.mark.parametrize("data", ["taken", "refused"])
def test_a_file_replaced_while_it_is_taken_in_is_neither_moved_nor_lost(
    bench, monkeypatch, which, data
):
    put(bench, "one.jpg", encoded(scene(1)) if data == "taken" else b"GIF89a", "name: Ada\n")
    other, take = bench / "came" / which, folder.take_in

    def replaced_meanwhile(*args):
        other.with_name(".new").write_bytes(b"name: Bo\n")
        other.with_name(".new").rename(other)
        return take(*args)

    monkeypatch.setattr(folder, "take_in", replaced_meanwhile)
    report = take_in(bench)
    assert ("one.jpg", folder.CHANGED) in report.left and report.refused == []
    assert names(bench / "came") == ["one.jpg", "one.txt"]
    assert other.read_bytes() == b"name: Bo\n"
    assert list((bench / "came").rglob("*/*")) == []


def test_files_of_other_kinds_and_texts_without_a_picture_are_left_with_a_word(bench):
    for name in ("list.ods", "song.mp3", "alone.txt", "none", "raw.DNG"):
        put(bench, name, b"mine", age_s=10**8)
    put(bench, "one.JPG", encoded(scene(1)))
    told = lapsekit(bench, "take-in")
    assert "5 left alone" in told and "alone.txt, list.ods" in told
    assert names(bench / "came") == ["alone.txt", "list.ods", "none", "raw.DNG", "song.mp3"]


def test_a_text_in_capitals_counts_and_of_two_neither(bench):
    for name in ("one.jpg", "two.jpg"):
        put(bench, name, encoded(scene(len(name) + ord(name[0]))))
    for text in ("one.TXT", "two.TXT", "two.txt"):
        put(bench, text, b"name: Ada\n")
    report = take_in(bench)
    assert report.left == [("two.jpg", folder.TWO_TEXTS)]
    assert [record.name for record in records(Season(bench))] == ["Ada"]
    assert names(bench / "came") == ["two.TXT", "two.jpg", "two.txt"]


def test_one_text_beside_two_pictures_of_a_name_is_given_to_neither(bench):
    put(bench, "basil.jpg", encoded(scene(1)), AGREED)
    put(bench, "basil.jpeg", encoded(scene(2)))
    report = take_in(bench)
    assert [name for name, _ in report.left] == ["basil.jpeg", "basil.jpg"]
    assert "basil.txt lies beside more than one" in report.left[0][1]
    assert records(Season(bench)) == []
    (bench / "came" / "basil.jpeg").rename(bench / "came" / "other.jpeg")
    take_in(bench)
    agreed = {r.file_name: r.consent is not None for r in records(Season(bench))}
    assert agreed == {"basil.jpg": True, "other.jpeg": False}


def test_a_consent_that_comes_with_the_same_picture_later_counts_and_nothing_is_lost(bench):
    data = encoded(scene(1))
    put(bench, "one.jpg", data)
    take_in(bench)
    put(bench, "again.jpg", data, AGREED)
    assert take_in(bench).known == ["again.jpg"]
    (record,) = records(Season(bench))
    assert (record.name, record.plant, record.region) == ("Ada Acorn", "Basil", "basil")
    assert record.consent is not None and deciding.cannot_be_shown(Season(bench), record) is None
    assert [name[17:] for name in names(bench / "came" / "taken")] == [
        "again.jpg",
        "again.txt",
        "one.jpg",
    ]
    deciding.take_down_by_id(Season(bench), record.id)
    assert data not in everything(bench) and b"Ada Acorn" not in everything(bench)


@pytest.mark.parametrize("told", ["name: Bo\n", "agreed: no\n", "taken: 2031-04-17\n"])
def test_a_text_that_says_something_else_than_the_record_is_left_beside_its_picture(bench, told):
    data = encoded(scene(1))
    put(bench, "one.jpg", data, AGREED)
    take_in(bench)
    before = records(Season(bench))
    told = told.replace("2031", str(date.today().year - 1))
    put(bench, "one.jpg", data, told)
    report = take_in(bench)
    ((name, why),) = report.left
    assert name == "one.jpg" and f"something else of: {told.split(':')[0]}" in why
    assert records(Season(bench)) == before
    assert names(bench / "came") == ["one.jpg", "one.txt"]


def test_what_is_shown_stays_as_it_was_seen_when_it_comes_again_with_more_words(bench):
    data = encoded(scene(1))
    put(bench, "one.jpg", data, AGREED)
    take_in(bench)
    (record,) = records(Season(bench))
    deciding.show(Season(bench), record.id)
    before = records(Season(bench))
    put(bench, "one.jpg", data, AGREED + "caption: Look!\n")
    ((_, why),) = take_in(bench).left
    assert "(shown)" in why and "caption" in why
    assert records(Season(bench)) == before


def test_a_picture_that_was_taken_down_before_is_left_and_told(bench):
    data = encoded(scene(1))
    put(bench, "one.jpg", data, AGREED)
    take_in(bench)
    deciding.take_down_by_id(Season(bench), records(Season(bench))[0].id)
    put(bench, "one.jpg", data, AGREED)
    assert "was deleted since" in lapsekit(bench, "take-in")
    assert names(bench / "came") == ["one.jpg", "one.txt"] and records(Season(bench)) == []


def test_a_picture_whose_record_is_damaged_is_left_and_goes_with_it(bench):
    data = encoded(scene(1))
    put(bench, "one.jpg", data, AGREED)
    take_in(bench)
    (record,) = records(Season(bench))
    (bench / "followers/waiting" / record.id / "record.json").write_text("{")
    put(bench, "one.jpg", data, AGREED)
    assert take_in(bench).left == [("one.jpg", folder.IS_DAMAGED)]
    assert names(bench / "came") == ["one.jpg", "one.txt"]
    deciding.take_down_by_id(Season(bench), record.id)
    assert names(bench / "came" / "taken") == []


def without_inbox(bench):
    settings = bench / "season.toml"
    settings.write_text(settings.read_text().replace('inbox = "came"\n', ""))


def test_originals_go_with_their_record_alone_even_when_no_inbox_is_named_any_more(bench):
    for seed, name in enumerate(("one.jpg", "two.jpg", "three.jpg", "four.jpg")):
        put(bench, name, encoded(scene(seed)), AGREED)
    take_in(bench)
    ids = {r.file_name: r.id for r in records(Season(bench))}
    kept = bench / "came" / "taken"
    mine = ["0123456789abcdef-mine.jpg", f"{ids['one.jpg']}.jpg", "mine.jpg"]
    for name in mine:
        (kept / name).write_bytes(b"mine")
    without_inbox(bench)
    deciding.take_down_by_id(Season(bench), ids["one.jpg"])
    deciding.decline(Season(bench), ids["two.jpg"])
    deciding.show(Season(bench), ids["three.jpg"])
    left = [name for each in ("two", "three", "four") for name in _kept(ids, each)]
    assert names(kept) == sorted([*left, *mine])
    _later(bench, 30)
    left = [name for each in ("three", "four") for name in _kept(ids, each)]
    assert names(kept) == sorted([*left, *mine])  # the declined one's time is over
    _later(bench, 100)
    assert names(kept) == sorted([*_kept(ids, "three"), *mine])  # so is that of one that waited
    _later(bench, 200)  # no address is kept so long
    assert names(kept) == sorted([_kept(ids, "three")[0], *mine])


def _kept(ids, stem):
    return [f"{ids[f'{stem}.jpg']}-{stem}{end}" for end in (".jpg", ".txt")]


def _later(bench, days):
    season = Season(bench, lambda: datetime.now(UTC) + timedelta(days=days))
    assert retention.tidy(season).problems == []


def test_an_original_on_a_stick_that_is_pulled_out_goes_when_it_is_back(bench, tmp_path):
    put(bench, "one.jpg", encoded(scene(1)), AGREED)
    take_in(bench)
    (bench / "came").rename(tmp_path / "pulled")
    deciding.take_down_by_id(Season(bench), records(Season(bench))[0].id)
    (tmp_path / "pulled").rename(bench / "came")
    assert len(names(bench / "came" / "taken")) == 2
    _later(bench, 0)
    assert names(bench / "came" / "taken") == []


def test_a_folder_taken_that_is_linked_elsewhere_gets_and_loses_nothing(bench, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (bench / "came" / "taken").symlink_to(elsewhere)
    put(bench, "one.jpg", encoded(scene(1)))
    assert "is no folder of its own" in take_in(bench).problems[0]
    assert names(elsewhere) == [] and names(bench / "came") == ["one.jpg"]


def test_names_as_long_as_a_file_system_takes_are_kept_and_refused(bench):
    put(bench, "ä" * 125 + ".jpg", encoded(scene(1)))
    put(bench, "b" * 250 + ".jpg", b"GIF89a")
    report = take_in(bench)
    assert len(report.taken) == len(report.refused) == 1 and report.problems == []
    assert names(bench / "came") == []


CAMERAS = """
[cameras.phone]
kind = "watched"
folder = "drop"

[cameras.old]
kind = "replay"
folder = "../played"
"""


@pytest.mark.parametrize(
    ("inbox", "why"),
    [
        (".", "the season folder"),
        ("..", "the season folder"),
        ("/", "the season folder"),
        ("came/..", "the season folder"),
        ("followers", "followers"),
        ("followers/waiting", "followers"),
        ("frames/bench", "frames"),
        ("site", "site"),
        ("drop", 'camera "phone"'),
        ("drop/in", 'camera "phone"'),
        ("../played", 'camera "old"'),
        ("linked", "frames"),
    ],
)
def test_a_folder_that_holds_something_else_is_no_inbox_and_nothing_in_it_moves(
    tmp_path, inbox, why
):
    season, _ = followed(tmp_path / "bench", f'inbox = "{inbox}"\n')
    bench = season.folder
    (bench / "season.toml").write_text((bench / "season.toml").read_text() + CAMERAS)
    for name in ("came", "followers/waiting", "frames/bench", "site", "drop/in", "../played"):
        (bench / name).mkdir(parents=True, exist_ok=True)
    (bench / "linked").symlink_to(bench / "frames")
    put(bench, "one.jpg", encoded(scene(1)))
    shutil.copy(bench / "came" / "one.jpg", bench / inbox / "one.jpg") if inbox != "/" else None
    before = sorted(path for path in tmp_path.rglob("*") if path.name != ".writing")
    with pytest.raises(SettingsError) as refusal:
        folder.take_in_folder(Season(bench))
    told = str(refusal.value)
    assert f'season.toml: followers.inbox = "{inbox}"' in told and why in told
    assert sorted(path for path in tmp_path.rglob("*") if path.name != ".writing") == before


def test_an_inbox_in_the_home_folder_is_looked_for_there(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    (tmp_path / "home" / "drop").mkdir(parents=True)
    season, _ = followed(tmp_path / "bench", 'inbox = "~/drop"\n')
    trust(season.folder)
    file = tmp_path / "home" / "drop" / "one.jpg"
    file.write_bytes(encoded(scene(1)))
    os.utime(file, (0, 0))
    ((name, received),) = folder.take_in_folder(season).taken
    assert name == "one.jpg"
    assert names(file.parent / "taken") == [f"{received.id}-one.jpg"]
    deciding.take_down_by_id(season, received.id)
    assert names(file.parent / "taken") == []


def test_what_is_still_being_written_and_links_are_left(bench, tmp_path):
    put(bench, "fresh.jpg", encoded(scene(1)), age_s=0)
    secret = tmp_path / "secret.jpg"
    secret.write_bytes(encoded(scene(2)))
    (bench / "came" / "link.jpg").symlink_to(secret)
    assert "still being written" in lapsekit(bench, "take-in")
    assert names(bench / "came") == ["fresh.jpg", "link.jpg"]
    assert records(Season(bench)) == []


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ("nmae: Ada", 'line 1 "nmae: Ada"'),
        ("sown: in March", 'sown: "in March" is no day'),
        ("agreed: perhaps", "agreed"),
        ("agreed: yes", "of age: yes"),
    ],
)
def test_a_text_that_cannot_be_used_is_told_and_its_picture_stays(bench, told, words):
    put(bench, "one.jpg", encoded(scene(1)), told)
    assert words in lapsekit(bench, "take-in", code=65)
    assert "one.jpg" in names(bench / "came")
    assert records(Season(bench)) == []


def test_days_and_a_yes_are_read_as_they_are_in_mails(bench):
    told = "name: Ada\nsown: 5. April {0}\ntaken: 17.4.{0}\nagreed: Ja!\nof age: yes\n".format
    year = date.today().year - (date.today() < date(date.today().year, 4, 18))
    put(bench, "one.jpg", encoded(scene(1)), told(year))
    lapsekit(bench, "take-in")
    (record,) = records(Season(bench))
    assert (record.sown, record.taken_on) == (date(year, 4, 5), date(year, 4, 17))
    assert record.consent is not None


def test_a_childs_picture_needs_the_parent_that_the_text_names(bench):
    put(bench, "one.jpg", encoded(scene(1)), "agreed: yes\nparent: Bo\n")
    lapsekit(bench, "take-in")
    record = records(Season(bench))[0]
    assert (record.consent.is_adult, record.consent.parent) == (False, "Bo")


def test_a_season_folder_that_nobody_trusts_takes_no_files_out_of_folders(bench):
    put(bench, "one.jpg", encoded(scene(1)))
    take_back(bench)
    assert "is not trusted" in lapsekit(bench, "take-in", code=77)
    assert names(bench / "came") == ["one.jpg"]


def test_the_notice_is_a_draft_that_tells_the_seasons_own_terms(bench, tmp_path):
    text = lapsekit(bench, "notice")
    assert "A draft" in text and "checked" in text
    assert "School office, 12" in text and "60 days" in text and "14 days" in text
    out = tmp_path / "notice.md"
    lapsekit(bench, "notice", "--out", str(out))
    assert out.read_text().strip() == text.strip()
    assert "is there already" in lapsekit(bench, "notice", "--out", str(out), code=78)


@pytest.mark.parametrize(
    ("language", "words"), [("en", "as it came"), ("de", "wie es kam")], ids=["en", "de"]
)
def test_the_notice_says_that_originals_are_kept_where_a_folder_is_named(bench, language, words):
    assert words in lapsekit(bench, "notice", "--language", language)
    without_inbox(bench)
    assert words not in lapsekit(bench, "notice", "--language", language)


def test_a_check_tells_of_an_inbox_that_cannot_be_one(bench):
    settings = bench / "season.toml"
    settings.write_text(settings.read_text().replace('inbox = "came"', 'inbox = "."'))
    told = [f.told for f in received(Look(Season(bench)))]
    assert any('followers.inbox = "." is the season folder' in each for each in told)


def test_an_id_that_is_none_is_refused_in_plain_words(bench):
    for word in ("../../frames", "0123456789abcdef", ""):
        assert "no follower's picture" in lapsekit(bench, "show", word, code=65)
