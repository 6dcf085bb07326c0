"""Pictures that the grower put into a folder, by the commands that a grower types."""

import json
import os
import pty
import re
import subprocess
import sys
import time
from datetime import date

import pytest

from lapsekit.followers import deciding, folder
from lapsekit.followers.records import records
from lapsekit.followers.showing import shown
from lapsekit.season import Season
from lapsekit.trust import take_back
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


def put(bench, name, data, told=None, age_s=60):
    file = bench / "came" / name
    file.write_bytes(data)
    os.utime(file, (time.time() - age_s,) * 2)
    if told is not None:
        file.with_suffix(".txt").write_text(told)
    return file


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


def test_what_was_taken_in_lies_nowhere_any_more_once_it_is_taken_down(bench):
    data = encoded(scene(1))
    put(bench, "good.jpg", data, "name: Ada Acorn\nagreed: yes\nof age: yes\n")
    (taken,) = json.loads(lapsekit(bench, "take-in", "--json"))["taken"]
    assert data not in everything(bench) and list((bench / "came").rglob("*")) == []
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
    with monkeypatch.context() as patch:  # the text went, then it was cut off
        patch.setattr(folder, "_delete", lambda path: cut_off(path.with_suffix(".txt").unlink()))
        with pytest.raises(SystemExit):
            folder.take_in_folder(Season(bench))
    assert names(bench / "came") == ["one.jpg"]
    assert folder.take_in_folder(Season(bench)).known == ["one.jpg"]
    assert [each.name for each in records(Season(bench))] == ["Ada"]


def test_what_was_refused_is_deleted_after_the_days_for_declined_pictures(bench):
    put(bench, "bad.jpg", b"GIF89a", "name: Ada\n", age_s=10**8)
    lapsekit(bench, "take-in", code=65)
    lapsekit(bench, "take-in")
    refused = bench / "came" / "refused"
    assert names(refused) == ["bad.jpg", "bad.txt", "bad.why.txt"]
    for file in refused.iterdir():
        os.utime(file, (time.time() - 86_400 * 365,) * 2)
    lapsekit(bench, "take-in")
    assert names(refused) == []


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


def test_an_id_that_is_none_is_refused_in_plain_words(bench):
    for word in ("../../frames", "0123456789abcdef", ""):
        assert "no follower's picture" in lapsekit(bench, "show", word, code=65)
