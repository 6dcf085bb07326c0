"""Followers' pictures by mail: a real IMAP server in, a real SMTP server out."""

import base64
import email.policy
import io
import re
import signal
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta
from email.message import EmailMessage

import pytest

from lapsekit.checking.finding import FINE, WATCH, WRONG, Look
from lapsekit.checking.followers import mailbox
from lapsekit.errors import FollowerError, NotTrusted, SettingsError, TransferError
from lapsekit.followers import answering
from lapsekit.followers.answering import SETTLED, write_due
from lapsekit.followers.codes import as_code
from lapsekit.followers.correspondence import NOBODY_CONFIRMED
from lapsekit.followers.deciding import (
    ask_again,
    back_to_waiting,
    cannot_be_shown,
    correct,
    decline,
    show,
    take_down_by_id,
)
from lapsekit.followers.mail import MOST_TRIES, take_in_mail
from lapsekit.followers.mailbox import Mailbox
from lapsekit.followers.outbox import MOST_TO_ONE
from lapsekit.followers.receiving import take_in
from lapsekit.followers.records import read_record, records
from lapsekit.trust import take_back, trust, wishes
from lapsekit.unattended.children import Ended
from lapsekit.unattended.keeping import Keeping
from lapsekit.unattended.world import World
from tests.followers.arriving import arrival, encoded, followed, scene
from tests.followers.mail_servers import PASSWORD, USER, dovecot, smtp
from tests.unattended.simulated import SimulatedMachine

NOW = datetime(2025, 5, 20, 10, 0, tzinfo=UTC)
MIA, OWN = "mia@roof.example", "plants@bench.example"
CODE = re.compile(r"\b[A-Z]{4}(?:-[A-Z]{4}){3}\b")
AGREED = "I agree: yes\nI am of age: yes\n"
NEVER_ANSWERED = {
    "auto-reply": {"Auto-Submitted": "auto-replied"},
    "list": {"List-Id": "<plants.lists.example>"},
    "bulk": {"Precedence": "bulk"},
    "daemon": {"From": "MAILER-DAEMON@roof.example"},
    "own": {"From": OWN},
}


@pytest.fixture(scope="module")
def server():
    with dovecot() as served:
        yield served


@pytest.fixture(scope="module")
def out():
    with smtp() as served:
        yield served


@pytest.fixture
def imap(server, out, monkeypatch):
    monkeypatch.setenv("SSL_CERT_FILE", str(server.certificate))
    server.empty()
    out.taken.clear()
    out.refuses.clear()
    return server


def bench(folder, imap, out=None, more=""):
    """A season that reads the mailbox, and answers where `out` is given."""
    text = (
        f'address = "{OWN}"\n{more}\n[followers.mail]\nhost = "localhost"\nport = {imap.tls}\n'
        f'user = "{USER}"\npassword_file = "word"\nlargest_mb = 40\ntime_limit_s = 20\n'
    )
    if out is not None:
        text += f'\n[followers.answers]\nhost = "127.0.0.1"\nport = {out.port}\nsecurity = "none"\n'
        text += f'sender = "{OWN}"\n'
    season, dial = followed(folder / "bench", text)
    dial.now = NOW
    (season.folder / "word").write_text(f"{PASSWORD}\n")
    (season.folder / "word").chmod(0o600)
    trust(season.folder)
    return season, dial


def mail(text="", *seeds, number=1, **headers):
    """A mail with pictures."""
    message = EmailMessage(policy=email.policy.SMTP)
    told = {"From": MIA, "To": OWN, "Subject": "my basil", "Message-ID": f"<{number}@roof.example>"}
    for name, value in (told | {k.replace("_", "-"): v for k, v in headers.items()}).items():
        message[name] = value
    message.set_content(text)
    for seed in seeds:
        data = encoded(scene(seed), quality=92)
        message.add_attachment(data, maintype="image", subtype="jpeg", filename=f"{seed}.jpg")
    return message


def weighing(megabytes, message):
    """Bytes of a mail with so much attached."""
    filler = {"maintype": "application", "subtype": "octet-stream", "filename": "x.bin"}
    message.add_attachment(b"FILLER", **filler)
    line = b"A" * 76 + b"\r\n"
    lines = line * (megabytes * 1_000_000 // len(line) + 1)
    return message.as_bytes().replace(base64.b64encode(b"FILLER"), lines)


def answer_to(letter, text, number=50, **headers):
    """What a mail program makes of an answer to a letter of ours."""
    quoted = "\n".join(f"> {line}" for line in letter.get_content().splitlines())
    whole = f"{text}\n\nOn Monday the bench wrote:\n{quoted}\n"
    told = {"Subject": f"Re: {letter['Subject']}", "In_Reply_To": letter["Message-ID"]}
    return mail(whole, number=number, **(told | headers))


def test_a_picture_waits_with_what_was_told_and_the_sender_is_answered(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("Hello\nName: Mia\nPlant: Basil\nSown: 1.4.2025\n\n-- \nName: no\n", 1))
    report = take_in_mail(season)
    (record,) = records(season, "waiting")
    assert report.taken == [record.id]
    assert (record.name, record.region, record.sown) == ("Mia", "basil", date(2025, 4, 1))
    assert record.contact == MIA and record.consent is None
    (letter,) = out.letters(MIA)
    text = letter.get_content()
    assert len(CODE.findall(text)) == 1 and "\nI agree:" in text and "Sown:" not in text
    assert letter["Auto-Submitted"] == "auto-replied"
    assert letter["In-Reply-To"] == letter["References"] == "<1@roof.example>"
    assert not CODE.search(read_record(season, record.id).answers[0].text)


def test_what_was_read_is_moved_unmarked_and_not_read_again(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("", 1), mail("Only hello", number=2))
    assert take_in_mail(season).messages == 2
    assert imap.messages() == []
    moved = imap.messages("Pictures seen")
    assert len(moved) == 2 and all(b"\\Seen" not in flags for flags, _ in moved)
    assert take_in_mail(season).messages == 0
    assert len(out.taken) == 1


def test_one_that_somebody_opened_before_us_is_read_all_the_same(imap, tmp_path):
    season, _ = bench(tmp_path, imap)
    imap.put(mail("", 1), flags="(\\Seen)")
    assert len(take_in_mail(season).taken) == 1


def test_pictures_in_the_text_heic_and_those_of_no_kind_are_taken(imap, out, tmp_path):
    pillow_heif = pytest.importorskip("pillow_heif")
    heic = io.BytesIO()
    pillow_heif.from_pillow(scene(7)).save(heic, quality=90)
    message = mail("Two of them")
    message.add_alternative("<p>Two<img src='cid:a'></p>", subtype="html")
    inline = {"maintype": "image", "subtype": "png", "cid": "<a>", "disposition": "inline"}
    message.get_payload()[1].add_related(encoded(scene(8), "PNG"), **inline)
    octets = {"maintype": "application", "subtype": "octet-stream", "filename": "Grüße aus.HEIC"}
    message.add_attachment(heic.getvalue(), **octets)
    season, _ = bench(tmp_path, imap, out)
    imap.put(message)
    assert len(take_in_mail(season).taken) == 2
    assert {r.file_name for r in records(season)} == {"", "Grüße aus.HEIC"}
    assert len(out.taken) == 1 and len(CODE.findall(out.taken[0][1].get_content())) == 2


def test_a_mail_of_thirty_megabytes_is_read_and_one_above_the_limit_is_refused(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    heavy, above = weighing(30, mail("", 3)), weighing(41, mail("", 4, number=2))
    imap.put(heavy, above)
    report = take_in_mail(season)
    assert len(report.taken) == 1 and len(report.refused) == 1
    assert (
        "more than 40 MB"
        in out.taken[1 if "arrived" in out.taken[0][1]["Subject"] else 0][1].get_content()
    )
    assert imap.messages() == []


def test_the_same_mail_and_the_same_picture_again_change_nothing(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("Name: Mia", 1))
    take_in_mail(season)
    imap.put(mail("Name: Mia", 1))
    assert take_in_mail(season).taken == []
    assert len(records(season)) == 1 and len(out.taken) == 1


def test_a_consent_by_mail_counts_only_once_the_mailbox_has_answered(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail(f"Name: Mia\n{AGREED}", 1, 2))
    take_in_mail(season)
    for record in records(season):
        assert record.consent is not None and record.is_confirmed is False
        with pytest.raises(FollowerError, match="has not confirmed"):
            show(season, record.id)
    (letter,) = out.letters(MIA)
    imap.put(answer_to(letter, "Yes!"))
    report = take_in_mail(season)
    assert len(report.answered) == 2
    for record in records(season):
        assert record.is_confirmed is True and cannot_be_shown(season, record) is None
        assert "mailbox is theirs" in record.consent.how
    assert "Nothing more is needed" in out.letters(MIA)[1].get_content()


def test_a_forged_consent_is_worth_nothing(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail(AGREED, 1))
    take_in_mail(season)
    (letter,) = out.letters(MIA)
    forged = [
        mail("yes\n", number=10, In_Reply_To="<ref-0123456789ABCDEF.x@bench.example>"),
        mail("yes\n[ref-AAAAAAAAAAAAAAAA]", number=11),
        answer_to(letter, "What is this? I sent nothing.", number=12),
        answer_to(letter, "yes", number=13, Auto_Submitted="auto-replied"),
    ]
    imap.put(*forged)
    take_in_mail(season)
    (record,) = records(season)
    assert record.is_confirmed is False and cannot_be_shown(season, record)


@pytest.mark.parametrize("how", ["another sender", "by a list"])
def test_a_token_proves_no_other_mailbox_than_the_one_it_went_to(imap, out, tmp_path, how):
    season, _ = bench(tmp_path, imap, out)
    attacker = "mallory@else.example"
    sender = MIA if how == "another sender" else attacker
    imap.put(mail("Name: x", 1, From=attacker))
    take_in_mail(season)
    (letter,) = out.letters(attacker)
    marks = {} if how == "another sender" else {"List_Id": "<plants.lists.example>"}
    forged = answer_to(letter, AGREED, From=sender, **marks)
    data = encoded(scene(2), quality=92)
    forged.add_attachment(data, maintype="image", subtype="jpeg", filename="2.jpg")
    imap.put(forged)
    (taken,) = take_in_mail(season).taken
    record = read_record(season, taken)
    assert record.contact == sender and record.consent is not None
    assert record.is_confirmed is False and cannot_be_shown(season, record)


def test_a_form_filled_in_within_the_quote_is_understood(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("Hallo, das ist mein Basilikum und ich mag ihn", 1))
    take_in_mail(season)
    (letter,) = out.letters(MIA)
    reply = answer_to(letter, "Gern").get_content()
    for label, told in {
        "Name": "Mia",
        "Gesät": "5. April",
        "Ich stimme zu": "ja",
        "Ich bin volljährig": "nein",
        "Elternteil": "Uta",
    }.items():
        reply = re.sub(rf"(?m)^> {label}:.*$", f"> {label}: {told}", reply)
    imap.put(mail(reply, number=60, In_Reply_To=letter["Message-ID"]))
    take_in_mail(season)
    (record,) = records(season)
    assert (record.name, record.sown, record.language) == ("Mia", date(2025, 4, 5), "de")
    assert (record.consent.is_adult, record.consent.parent) == (False, "Uta")
    assert record.is_confirmed is True and cannot_be_shown(season, record) is None


def test_a_plant_told_in_an_answer_finds_its_region_and_never_moves_one_that_is_there(
    imap, out, tmp_path
):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("A picture of mine", 1))
    take_in_mail(season)
    (record,) = records(season)
    assert (record.plant, record.region) == ("", "")
    letter = out.letters(MIA)[-1]
    imap.put(answer_to(letter, "Plant: our Basil\nSown: 1.4.2026", number=51))  # an impossible day
    take_in_mail(season)
    record = read_record(season, record.id)
    assert (record.plant, record.region, record.sown) == ("our Basil", "basil", None)
    imap.put(answer_to(letter, "Plant: a tulip", number=52))
    take_in_mail(season)
    record = read_record(season, record.id)
    assert (record.plant, record.region) == ("a tulip", "basil")


@pytest.mark.parametrize(("minors", "asks_parent"), [("parent", True), ("never", False)])
def test_a_consent_is_asked_for_with_a_parents_name_only_where_minors_may_send(
    tmp_path, minors, asks_parent
):
    season, _ = followed(tmp_path / "bench", f'minors = "{minors}"\n')
    received = take_in(season, arrival(1, consent=None, contact=MIA))
    ask_again(season, received.id, "consent")
    write_due(season)
    text = read_record(season, received.id).answers[0].text
    assert ("\nParent: " in text) == ("parent or guardian" in text) == asks_parent
    assert ("young people are not taken" in text) != asks_parent


@pytest.mark.parametrize("meanwhile", [take_down_by_id, back_to_waiting])
def test_no_letter_is_written_about_what_was_taken_down_or_back_while_it_was_due(
    tmp_path, monkeypatch, meanwhile
):
    """The other record's letter is written all the same."""
    season, dial = followed(tmp_path / "bench")
    first, second = (take_in(season, arrival(k, contact=MIA, source=f"{k}")) for k in (1, 2))
    for record in (first, second):
        show(season, record.id)
    dial.now += 2 * SETTLED

    def looked_at(season):
        found = records(season)
        meanwhile(season, first.id)
        return found

    monkeypatch.setattr(answering, "records", looked_at)
    assert write_due(season) == 1
    answers = {record.id: record.answers for record in records(season)}
    assert not answers.get(first.id)
    assert [answer.kind for answer in answers[second.id]] == ["shown"]


def test_without_answers_the_record_says_that_nobody_confirmed_and_holds_the_letter(imap, tmp_path):
    season, _ = bench(tmp_path, imap)
    imap.put(mail(AGREED, 1))
    report = take_in_mail(season)
    (record,) = records(season)
    assert NOBODY_CONFIRMED in record.notes and record.is_confirmed is None
    assert CODE.search(record.answers[0].text) and record.answers[0].sent_at is None
    assert report.letters.waiting == 1


def test_the_code_alone_takes_a_picture_down_from_any_address(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("", 1), mail("", 2, number=2))
    take_in_mail(season)
    code = CODE.search(out.letters(MIA)[0].get_content())[0]
    other = "someone@else.example"
    imap.put(mail("", number=3, From=other, Subject=f"take down {code.lower()}"))
    report = take_in_mail(season)
    assert len(report.taken_down) == 1 and len(records(season)) == 1
    assert report.taken_down[0] not in {r.id for r in records(season)}
    assert "deleted" in out.letters(other)[0].get_content()


def test_an_answer_that_quotes_the_code_and_a_wrong_code_take_nothing_down(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("", 1))
    take_in_mail(season)
    (letter,) = out.letters(MIA)
    below = f"Thanks!\n\n-----Original Message-----\n{letter.get_content()}"
    wrong = as_code("ABCDEFGHJKMNPQRS")
    imap.put(
        answer_to(letter, "Thank you"),
        mail(below, number=4),
        mail(f"Take down: {wrong}", number=5),
    )
    assert take_in_mail(season).taken_down == []
    assert len(records(season)) == 1
    assert any("no picture has this code" in m["Subject"] for m in out.letters(MIA))


@pytest.mark.parametrize("kind", NEVER_ANSWERED)
def test_what_a_program_wrote_is_never_answered(imap, out, tmp_path, kind):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail(AGREED, 1, **NEVER_ANSWERED[kind]), mail("Name: x", **NEVER_ANSWERED[kind]))
    take_in_mail(season)
    assert out.taken == [] and imap.messages() == []


def test_one_address_gets_no_letters_without_end_and_a_day_has_its_number(imap, out, tmp_path):
    season, dial = bench(tmp_path, imap, out)
    codes = [mail(f"Take down: {'ABCD' * 4}", number=n) for n in range(MOST_TO_ONE + 3)]
    imap.put(*codes)
    take_in_mail(season)
    assert len(out.taken) == MOST_TO_ONE
    dial.now += timedelta(days=1, minutes=1)
    take_in_mail(season)
    assert len(out.taken) == MOST_TO_ONE + 3
    few = (season.folder / "season.toml").read_text().replace("sender =", "a_day = 1\nsender =")
    (season.folder / "season.toml").write_text(few)
    season = type(season)(season.folder, dial)
    dial.now += timedelta(days=2)
    out.taken.clear()
    imap.put(*(mail("Name: x", number=90 + n, From=f"a{n}@b.example") for n in range(3)))
    assert take_in_mail(season).letters.waiting == 2
    assert len(out.taken) == 1


def test_what_a_stranger_wrote_stands_in_no_letter(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    evil = "BUY-NOW http://bad.example"
    told = f"Name: {evil}\nPlant: {evil}\nCaption: {evil}\n{evil}"
    imap.put(mail(told, 1, Subject=evil, From=f'"{evil}" <{MIA}>'))
    broken = b"From: mia@roof.example\r\nSubject: x\r\n Bcc: all@x.example\r\nMessage-ID: <a\r\n b>"
    imap.put(broken + b"\r\n\r\nName: x\r\n")
    take_in_mail(season)
    assert len(out.taken) == 2
    for recipients, letter in out.taken:
        assert recipients == [MIA] and letter["Bcc"] is None
        assert "bad.example" not in letter.as_string()


def test_decisions_are_told_once_they_have_stood_for_a_while(imap, out, tmp_path):
    season, dial = bench(tmp_path, imap, out)
    imap.put(mail("", 1), mail("", 2, number=2), mail("", 3, number=3))
    take_in_mail(season)
    imap.put(*(answer_to(m, AGREED, 60 + n) for n, m in enumerate(out.letters(MIA))))
    take_in_mail(season)
    first, second, third = (r.id for r in records(season))
    out.taken.clear()
    show(season, first)
    decline(season, second)
    ask_again(season, third, "Which variety is it?")
    dial.now += SETTLED / 2
    take_in_mail(season)
    assert ["Which variety" in m.get_content() for m in out.letters(MIA)] == [True]
    question = out.letters(MIA)[0]
    dial.now += SETTLED
    take_in_mail(season)
    take_in_mail(season)
    assert len(out.taken) == 3
    imap.put(answer_to(question, "Caption: the large-leaved one", 80))
    take_in_mail(season)
    asked = read_record(season, third)
    assert (asked.asked, asked.caption) == ("", "the large-leaved one")


def test_words_of_a_picture_that_was_shown_a_moment_ago_are_not_changed_by_mail(
    imap, out, tmp_path, monkeypatch
):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("Name: Mia\nCaption: first", 1))
    take_in_mail(season)
    (letter,) = out.letters(MIA)
    imap.put(answer_to(letter, AGREED))
    take_in_mail(season)
    (record,) = records(season)

    def after_a_yes(asked, record_id, **told):
        show(asked, record_id)
        return correct(asked, record_id, **told)

    monkeypatch.setattr("lapsekit.followers.correspondence.correct", after_a_yes)
    imap.put(answer_to(letter, "Name: Other\nCaption: second", 51))
    assert take_in_mail(season).answered == [record.id]
    after = read_record(season, record.id)
    assert (after.state, after.name, after.caption) == ("shown", "Mia", "first")


def test_an_address_that_does_not_exist_is_tried_once(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    out.refuses.add(MIA)
    imap.put(mail("", 1))
    assert take_in_mail(season).letters.problems
    assert take_in_mail(season).letters == type(take_in_mail(season).letters)()


def test_it_goes_on_where_it_was_killed_and_takes_nothing_in_twice(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(*(mail(f"Name: n{n}", n, number=n) for n in range(1, 5)))
    command = [sys.executable, "-m", "lapsekit", "followers", "take-in", "-s", season.folder]
    for wait_s in (0.9, 1.3, 1.8):
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(wait_s)
        process.send_signal(signal.SIGKILL)
        process.wait()
    take_in_mail(season)
    assert sorted(r.name for r in records(season)) == ["n1", "n2", "n3", "n4"]
    assert imap.messages() == [] and len(imap.messages("Pictures seen")) == 4
    codes = {CODE.search(m.get_content())[0] for m in out.letters(MIA)}
    assert len(codes) == 4


def test_a_message_that_ends_us_each_time_is_put_away(imap, out, tmp_path, monkeypatch):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("", 1), mail("", 2, number=2))

    def dies(letter, *_):
        raise SystemExit

    with monkeypatch.context() as patch:
        patch.setattr("lapsekit.followers.mail.read_letter", dies)
        for _ in range(MOST_TRIES):
            with pytest.raises(SystemExit):
                take_in_mail(season)
    report = take_in_mail(season)
    assert report.given_up == 1 and len(report.taken) == 1
    assert imap.messages() == []


def test_other_uids_than_before_take_nothing_in_twice(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    with imap.client() as client:
        for name in ("one", "two"):
            client.create(name)
    imap.put(mail("", 1), folder="one")
    imap.put(mail("", 1), mail("", 2, number=2), folder="two")
    for name in ("one", "two"):
        told = season.settings.followers.mail.model_copy(update={"folder": name})
        table = season.settings.followers.model_copy(update={"mail": told})
        season.settings = season.settings.model_copy(update={"followers": table})
        assert len(take_in_mail(season).taken) == 1
    assert len(records(season)) == 2


def test_when_no_more_can_be_taken_mails_stay_and_codes_still_count(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out, more="most_waiting = 1")
    imap.put(mail("", 1), mail("", 2, number=2))
    assert take_in_mail(season).left == 1
    assert len(imap.messages()) == 1
    code = CODE.search(out.letters(MIA)[0].get_content())[0]
    imap.put(mail(f"Take down: {code}", number=3))
    take_in_mail(season)
    take_in_mail(season)
    assert imap.messages() == [] and len(records(season)) == 1


def test_a_folder_that_is_not_trusted_connects_to_nobody(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("", 1))
    take_back(season.folder)
    with pytest.raises(NotTrusted, match="localhost"):
        take_in_mail(season)
    assert len(imap.messages()) == 1


def test_starttls_is_spoken_and_the_certificate_is_looked_at(imap, out, tmp_path, monkeypatch):
    season, _ = bench(tmp_path, imap, out)
    file = season.folder / "season.toml"
    told = file.read_text().replace(f"port = {imap.tls}", f"port = {imap.starttls}")
    file.write_text(told.replace("[followers.mail]", '[followers.mail]\nsecurity = "starttls"'))
    season = type(season)(season.folder, season.clock)
    imap.put(mail("", 1))
    assert len(take_in_mail(season).taken) == 1
    monkeypatch.delenv("SSL_CERT_FILE")
    with pytest.raises(SettingsError, match="certificate is not good"):
        take_in_mail(season)


def test_a_wrong_password_and_a_server_that_is_away_say_what_to_do(imap, tmp_path):
    season, dial = bench(tmp_path, imap)
    (season.folder / "word").write_text("wrong-secret\n")
    with pytest.raises(SettingsError, match="first line of password_file") as refused:
        take_in_mail(season)
    assert "wrong-secret" not in str(refused.value)
    (season.folder / "word").write_text(f"{PASSWORD}\n")
    file = season.folder / "season.toml"
    file.write_text(file.read_text().replace(f"port = {imap.tls}", "port = 1"))
    away = type(season)(season.folder, dial)
    with pytest.raises(TransferError, match="cannot be reached"):
        take_in_mail(away)
    assert [f.how for f in mailbox(Look(away))] == [WATCH]
    dial.now += timedelta(hours=7)
    (found,) = mailbox(Look(away))
    assert found.how == WRONG and "cannot be reached" in found.told
    take_in_mail(season)
    assert [f.how for f in mailbox(Look(season))] == [FINE]


def test_a_german_mail_gets_a_german_answer_whose_lines_are_understood(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("Pflanze: Basilikum", 1))
    take_in_mail(season)
    text = out.letters(MIA)[0].get_content()
    assert "dein Bild ist angekommen" in out.letters(MIA)[0]["Subject"]
    assert "Bevor es gezeigt werden kann" in text and "\nIch stimme zu:" in text
    assert not re.search(r"\b(the|you|picture|your)\b", text.replace("School office", ""))


def test_without_a_word_from_the_server_that_it_moves_mail_is_copied_and_not_read_again(
    imap, out, tmp_path, monkeypatch
):
    monkeypatch.setattr("imap_tools.mailbox.BaseMailBox.move", None)
    season, _ = bench(tmp_path, imap, out)
    opened = Mailbox.__init__

    def cannot_move(self, *told):
        opened(self, *told)
        self.can_move = False

    monkeypatch.setattr(Mailbox, "__init__", cannot_move)
    imap.put(mail("", 1))
    assert len(take_in_mail(season).taken) == 1
    assert take_in_mail(season).messages == 0
    assert len(imap.messages()) == len(imap.messages("Pictures seen")) == 1


def test_an_answer_with_another_picture_is_answered_and_the_picture_is_theirs(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    imap.put(mail("Name: Mia", 1))
    take_in_mail(season)
    reply = answer_to(out.letters(MIA)[0], f"Here is a better one\n{AGREED}")
    data = encoded(scene(2), quality=92)
    reply.add_attachment(data, maintype="image", subtype="jpeg", filename="2.jpg")
    imap.put(reply)
    take_in_mail(season)
    assert [r.is_confirmed for r in records(season)] == [True, True]


def test_the_long_running_process_tells_a_failure_once_and_that_it_works_again(tmp_path):
    season, _ = followed(tmp_path / "bench", '\ninbox = "in"\n')
    told, ends = [], iter([1, 1, 0, 0])

    def stage(*words, **_):
        assert words == ("followers", "take-in")
        return Ended(next(ends), ["by mail: waits as 1"], "cannot be reached")

    def tell(line, *_, **__):
        told.append(line)

    world = World(season, {}, None, SimulatedMachine(NOW), tell, None)
    (job,) = [job for job in Keeping(world, stage).jobs() if job.name == "followers"]
    assert len(job.plan.moments(date(2031, 4, 5))) == 96
    assert len(job.plan.moments(date(2031, 10, 26))) == 100
    for _ in range(4):
        job.do()
    assert ["failed" in line for line in told] == [True, False, False, False]
    assert "works again" in told[1]


def test_a_season_that_is_not_trusted_yet_says_whose_mail_it_would_read(imap, out, tmp_path):
    season, _ = bench(tmp_path, imap, out)
    told = wishes(season.settings, season.folder)
    assert "send the password in word to localhost, and move its mail" in told
    assert "send mails to followers by 127.0.0.1" in told
