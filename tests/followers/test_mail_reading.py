"""Any bytes are read as a mail: what is written, told, quoted and attached; nothing raises."""

import email.policy
from datetime import date
from email.message import EmailMessage

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapsekit.followers.mail_reading import (
    MOST_PICTURES,
    NO_PICTURE,
    TOO_MANY,
    WINMAIL,
    read_letter,
)
from lapsekit.followers.mail_text import parted, text_of_html, unflowed
from lapsekit.followers.told_lines import CODE, FORM, LABELS, day_told, told_lines, yes_or_no

TODAY = date(2031, 5, 20)
JPEG = b"\xff\xd8\xff" + b"\0" * 6000
HEIC = b"\0\0\0\x20ftypheic" + b"\0" * 6000


def made(text="", **headers):
    message = EmailMessage(policy=email.policy.SMTP)
    told = {"From": "mia@roof.example", "Message-ID": "<1@roof.example>"}
    for name, value in (told | {k.replace("_", "-"): v for k, v in headers.items()}).items():
        message[name] = value
    message.set_content(text)
    return message


def read(message):
    data = message if isinstance(message, bytes) else message.as_bytes()
    return read_letter(data, TODAY)


def attached(message, data, kind="image/jpeg", name="a.jpg"):
    maintype, subtype = kind.split("/")
    message.add_attachment(data, maintype=maintype, subtype=subtype, filename=name)
    return message


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2031-03-05", date(2031, 3, 5)),
        ("5.3.2031", date(2031, 3, 5)),
        ("05. 03. 31", date(2031, 3, 5)),
        ("5.3.", date(2031, 3, 5)),
        ("5 March", date(2031, 3, 5)),
        ("5th of March, 2031", date(2031, 3, 5)),
        ("March 5, 2031", date(2031, 3, 5)),
        ("Mittwoch, 5. März 2031", date(2031, 3, 5)),
        ("30 December", date(2030, 12, 30)),
        ("gestern", date(2031, 5, 19)),
        ("15/3/2031", date(2031, 3, 15)),
        ("3/15/2031", date(2031, 3, 15)),
        ("5/3/2031", None),
        ("31.2.2031", None),
        ("in spring", None),
    ],
)
def test_a_day_is_understood_as_people_write_it_and_never_guessed(text, day):
    assert day_told(text, TODAY) == day


def test_told_lines_are_found_in_both_languages_in_any_order_and_dress():
    english = [
        "* Caption : two leaves: green",
        "**Sown:** 5 March",
        "> x",
        "I AGREE: Yes!",
        "name:",
    ]
    told = told_lines([*english, "Name: Mia", "Name: Uta"], TODAY)
    assert (told.caption, told.sown) == ("two leaves: green", date(2031, 3, 5))
    assert (told.agrees, told.name, told.is_german) == (True, "Mia", False)
    german = ["Ich bin volljährig: nein", "- Gesaet: bald", "Löschen: abcd", "Elternteil: Uta"]
    told = told_lines(german, TODAY)
    assert (told.is_of_age, told.code, told.parent, told.is_german) == (False, "abcd", "Uta", True)
    assert told.not_understood == ("sown",)


def test_every_label_that_we_write_is_one_that_we_read():
    for language, labels in FORM.items():
        assert list(labels) == list(FORM["en"]), language
        written = {**labels, "code": CODE[language]}
        assert [of for of, label in written.items() if label.casefold() not in LABELS[of]] == []


def test_only_a_plain_yes_is_one():
    assert [yes_or_no(word) for word in ("Yes.", "ja!", "no", "yes but not now", "")] == [
        *(True, True, False, None, None)
    ]


QUOTES = {
    "english": "On Mon, 5 May 2031 at 10:00, Bench <a@b.example> wrote:\n\nName: Quoted",
    "german": "Am 05.05.2031 um 10:00 schrieb Bench <a@b.example>:\n\nName: Quoted",
    "wrapped": "Am Montag, den 05.05.2031 um 10 Uhr\nschrieb Bench <a@b.example>:\n\nName: Quoted",
    "rule": "-----Ursprüngliche Nachricht-----\nName: Quoted",
    "heads": "Von: Bench\nGesendet: Montag\nAn: Mia\nBetreff: x\n\nName: Quoted",
    "marks": "> Name: Quoted\n>> Name: older",
}


@pytest.mark.parametrize("how", QUOTES)
def test_what_is_quoted_is_not_what_the_sender_wrote(how):
    letter = read(made(f"Plant: Basil\n\n{QUOTES[how]}\n"))
    assert (letter.told.plant, letter.told.name) == ("Basil", "")
    assert letter.told_in_quotes.name == "Quoted"


def test_answers_between_quoted_lines_are_the_senders_own_and_a_signature_is_not():
    text = "Am 5. Mai schrieb Bench:\n> Wie heißt sie?\nName: Mia\n> Danke\n-- \nName: Firma\n"
    assert [line for line in parted(text).own if line.startswith("Name")] == ["Name: Mia"]


def test_html_is_read_by_blocks_and_its_quotes_are_quotes():
    html = (
        "<html><head><title>Name: no</title><style>p{}</style></head><body><p>Name:&nbsp;<b>Mia"
        "</b></p><!-- Plant: no --><div>Plant: Dill &amp; co<br>Caption: a</div>"
        '<div class="gmail_quote">On x wrote:<blockquote><div>Name: Quoted</div></blockquote></div>'
    )
    message = made()
    message.set_content(html, subtype="html")
    letter = read(message)
    assert (letter.told.name, letter.told.plant, letter.told.caption) == ("Mia", "Dill & co", "a")
    assert letter.told_in_quotes.name == "Quoted"


def test_flowed_lines_are_put_together():
    assert unflowed("Caption: one \ntwo\n-- \nx") == "Caption: one two\n-- \nx"


def test_pictures_are_known_by_type_or_content_and_told_by_their_names():
    message = attached(made("hi"), JPEG, name="Grüße aus dem Garten, ein sehr langer Name.jpg")
    attached(message, HEIC, "application/octet-stream", "IMG_1.HEIC")
    attached(message, b"TNEF", "application/ms-tnef", "winmail.dat")
    attached(message, b"%PDF-1.7", "application/pdf", "x.pdf")
    attached(message, b"<svg/>" * 1000, "image/svg+xml", "x.svg")
    letter = read(message)
    assert [each.file_name for each in letter.pictures] == [
        *("Grüße aus dem Garten, ein sehr langer Name.jpg", "IMG_1.HEIC")
    ]
    assert [each.data for each in letter.pictures] == [JPEG, HEIC]
    assert letter.notes == (WINMAIL, NO_PICTURE)


def test_a_forwarded_mail_gives_its_pictures_and_a_bounce_gives_none():
    outer = made("Plant: Basil")
    outer.add_attachment(attached(made("Name: inside\nI agree: yes"), JPEG))
    letter = read(outer)
    assert len(letter.pictures) == 1 and letter.told.name == "" and letter.told.agrees is None
    bounce = outer.as_bytes().replace(b"multipart/mixed", b"multipart/report", 1)
    assert read(bounce).pictures == () and read(bounce).is_automatic


def test_small_pictures_of_signatures_are_passed_over_and_so_are_too_many():
    message = made("x")
    message.add_attachment(b"\x89PNG\r\n\x1a\n", maintype="image", subtype="png", cid="<logo>")
    message.get_payload()[1].replace_header("Content-Disposition", "inline")
    for number in range(MOST_PICTURES + 2):
        attached(message, JPEG, name=f"{number}.jpg")
    letter = read(message)
    assert len(letter.pictures) == MOST_PICTURES and letter.notes == (TOO_MANY,)


@pytest.mark.parametrize(
    ("raw", "address"),
    [
        ("Mia <mia@roof.example>", "mia@roof.example"),
        ('"boss@bench.example" <mia@roof.example>', "mia@roof.example"),
        ("mia@roof.example", "mia@roof.example"),
        ("a@b.example, c@d.example", ""),
        ("<a@b.example> <c@d.example>", ""),
        ("mia@roof.example\r\n Bcc: x@y.example", ""),
        ("nobody", ""),
        ("(" * 5000, ""),
    ],
)
def test_one_address_is_the_sender_or_none(raw, address):
    data = f"From: {raw}\r\nSubject: x\r\n\r\nName: a\r\n".encode()
    assert read(data).sender == address


def test_broken_mails_are_read_as_far_as_they_go():
    whole = attached(made("Name: Mia"), JPEG).as_bytes()
    boundary = whole.split(b'boundary="')[1].split(b'"')[0]
    assert read(whole.replace(b"--" + boundary + b"--", b"")).pictures[0].data == JPEG
    assert read(whole.replace(b'boundary="' + boundary, b'boundary="other')).pictures == ()
    assert read(whole[: len(whole) // 2]).told.name == "Mia"
    wrong = (
        b'From: a@b.example\r\nContent-Type: text/plain; charset="no-such"\r\n\r\nPflanze: K\xf6hl'
    )
    assert read(wrong).told.plant == "Köhl"
    for charset in (b"punycode", b"hex", b"idna", b"undefined", b"utf-16", b"\xff"):
        assert read(wrong.replace(b"no-such", charset)).key


def test_a_code_is_told_by_a_line_or_the_subject_and_not_by_a_quote():
    assert read(made("x", Subject="Take down: ABCD-EFGH-JKMN-PQRS")).code == "ABCD-EFGH-JKMN-PQRS"
    assert read(made("x", Subject="AW: Löschen abcd")).code == "abcd"
    assert read(made("Löschen: abcd")).code == "abcd"
    assert read(made("thanks\n> Take down: abcd")).code == ""


BOMBS = {
    "nested": b"Content-Type: message/rfc822\n\n" * 5000,
    "parts": b"".join(
        b"Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n" % (n, n) for n in range(2000)
    ),
    "parameters": b"Content-Type: a/b" + b';""' * 400_000 + b"\n\nx",
    "words": b"Subject: " + b"=?utf-8?q?a?= " * 20_000 + b"\n\nx",
    "comments": b"Content-Type: text/html\n\n" + b"<!--" * 100_000,
    "tags": b"Content-Type: text/html\n\n" + b"<div class=gmail_quote>" * 30_000,
    "punycode": b"Content-Type: text/plain; charset=punycode\n\n" + b"a" * 400_000,
    "lines": b"\r\n" * 2_100_000,
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_mail_made_to_be_deep_is_refused_and_one_made_to_be_slow_is_read(bomb):
    """Unbounded, the standard library takes minutes for each that is read, or runs out of stack."""
    letter = read(b"Subject: hello\n" + BOMBS[bomb])
    is_refused = bomb in ("nested", "parts", "lines")
    assert letter.subject == ("" if is_refused else "hello")
    assert letter.is_automatic or not is_refused  # and so it is never answered


@given(st.binary(max_size=2000))
@settings(max_examples=150)
def test_any_bytes_are_a_letter(data):
    assert read(data).key == read(data).key


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_a_mail_with_any_bytes_changed_is_a_letter(data):
    whole = bytearray(attached(made("Name: Mia\nGesät: 5.3.\n> x"), JPEG[:200]).as_bytes())
    for _ in range(data.draw(st.integers(1, 12))):
        at = data.draw(st.integers(0, len(whole) - 1))
        whole[at : at + data.draw(st.integers(0, 4))] = data.draw(st.binary(max_size=4))
    letter = read(bytes(whole))
    assert "\n" not in letter.sender + letter.references + letter.message_id + letter.subject


@given(st.text(max_size=500))
@settings(max_examples=150)
def test_any_text_is_parted_and_told(text):
    found = parted(text)
    told_lines((*found.own, *found.quoted), TODAY)
    text_of_html(text)
    day_told(text, TODAY)
