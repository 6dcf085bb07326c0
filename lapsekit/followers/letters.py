"""What answers to followers say, in their language. Texts only; `answering` sends them.

A letter repeats nothing that a stranger wrote: whoever forges a sender must not be able to have
words of theirs sent to others. No line of it, quoted in an answer, tells anything.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from lapsekit.followers.mail_reading import DAMAGED, NO_PICTURE, TOO_MANY, WINMAIL
from lapsekit.followers.told_lines import form_labels
from lapsekit.followers.wordings import Wording
from lapsekit.language.words import Words


@dataclass(frozen=True)
class Text:
    """Subject and text of a letter."""

    subject: str
    text: str


@dataclass(frozen=True, kw_only=True)
class Sender:
    """Who writes: the season, and what of its settings letters tell.

    Attributes
    ----------
    title : str
    contact : str
        Whom followers can turn to.
    page : str
        Address of the site; "" where none is known.
    mailbox : str
        Where to a take-down code is mailed; "" where none is known.
    keep_days : int
        After so many days a picture that nobody decided on is deleted.
    minors : {"parent", "never"}
    """

    title: str
    contact: str
    page: str
    mailbox: str
    keep_days: int
    minors: str


def received(
    words: Words,
    sender: Sender,
    *,
    codes: Sequence[str],
    refused: Sequence[str] = (),
    notes: Sequence[str] = (),
    missing: Sequence[str] = (),
    confirms: bool = False,
    wording: Wording | None = None,
    token: str = "",
) -> Text:
    """The answer to a mail with pictures.

    Parameters
    ----------
    words : Words
    sender : Sender
    codes : sequence of str
        Take-down code of each picture that waits now.
    refused : sequence of str
        Why the others were not taken, a sentence each.
    notes : sequence of str
        As `Letter.notes`.
    missing : sequence of str
        Names of fields to be filled in.
    confirms : bool
        Whether the sender has to say that the mailbox is theirs.
    wording : Wording, optional
        What they agree to; needed where something of it is missing or to be confirmed.
    token : str
        By which an answer is known; "" for none.
    """
    parts = [words.text("Hello,")]
    if codes:
        parts.append(_arrived(words, len(codes)))
    parts += [_noted(words, note) for note in notes] + list(refused)
    if codes:
        parts.append(_codes(words, sender, codes))
    if missing and codes:
        parts.append(_form(words, sender, missing, wording, "agrees" in missing))
    elif confirms and wording is not None:
        parts.append(_confirm(words, wording))
    subject = words.text("{title}: your picture arrived", title=sender.title)
    if not codes:
        subject = words.text("{title}: no picture was taken", title=sender.title)
    return _letter(words, sender, subject, parts, token)


def answered(
    words: Words,
    sender: Sender,
    missing: Sequence[str],
    wording: Wording,
    confirms: bool,
    token: str = "",
) -> Text:
    """The answer to an answer: thanks, or what is still missing."""
    parts = [words.text("Hello,"), words.text("Thank you, your answer arrived.")]
    if "agrees" in missing:
        parts.append(_form(words, sender, missing, wording, True))
    elif confirms:
        parts.append(_confirm(words, wording))
    else:
        parts.append(
            words.text("The picture waits for being looked at now. Nothing more is needed.")
        )
    subject = words.text("{title}: thank you", title=sender.title)
    return _letter(words, sender, subject, parts, token)


def shown(words: Words, sender: Sender) -> Text:
    """The grower said yes."""
    parts = [
        words.text("Hello,"),
        words.text(
            "Your picture was accepted. It appears with the next update of the page, which is made "
            "every morning."
        ),
    ]
    if sender.page:
        parts.append(sender.page)
    parts.append(words.text("The take-down code that you were given stays good."))
    subject = words.text("{title}: your picture is shown", title=sender.title)
    return _letter(words, sender, subject, parts, "")


def declined(words: Words, sender: Sender, days: int) -> Text:
    """The grower said no."""
    text = words.counted(
        "Thank you for your picture. It is not shown, and is deleted after {n} day.",
        "Thank you for your picture. It is not shown, and is deleted after {n} days.",
        days,
    )
    subject = words.text("{title}: about your picture", title=sender.title)
    return _letter(words, sender, subject, [words.text("Hello,"), text], "")


def asked(
    words: Words,
    sender: Sender,
    question: str,
    missing: Sequence[str],
    wording: Wording,
    token: str,
) -> Text:
    """The grower asks something: in words of their own, or for the consent (``consent``)."""
    parts = [
        words.text("Hello,"),
        words.text("There is a question about your picture, before it can be shown:"),
    ]
    if question == "consent":
        parts.append(_form(words, sender, missing, wording, True))
    else:
        parts += [question, words.text("Please answer this mail.")]
    subject = words.text("{title}: a question about your picture", title=sender.title)
    return _letter(words, sender, subject, parts, token)


def taken_down(words: Words, sender: Sender) -> Text:
    """A picture was deleted by its code."""
    text = words.text(
        "The picture is deleted here. It leaves the page with the next update, which is made every "
        "morning."
    )
    subject = words.text("{title}: your picture is deleted", title=sender.title)
    return _letter(words, sender, subject, [words.text("Hello,"), text], "")


def unknown_code(words: Words, sender: Sender) -> Text:
    """No picture has the code that was told."""
    text = words.text(
        "No picture here has the code that you sent. It may be deleted already, or the code may be "
        "mistyped: it has sixteen letters."
    )
    subject = words.text("{title}: no picture has this code", title=sender.title)
    return _letter(words, sender, subject, [words.text("Hello,"), text], "")


def too_large(words: Words, sender: Sender, most_mb: int) -> Text:
    """A mail was too large to be fetched."""
    text = words.text(
        "Your mail was not opened, since it has more than {most} MB. Please send the pictures in "
        "several mails, or in a smaller size.",
        most=most_mb,
    )
    subject = words.text("{title}: your mail was too large", title=sender.title)
    return _letter(words, sender, subject, [words.text("Hello,"), text], "")


def _letter(words: Words, sender: Sender, subject: str, parts: Sequence[str], token: str) -> Text:
    end = words.text(
        "This was written by a program. If you sent nothing, somebody used your address: you need "
        "not do anything. Questions are answered by {contact}.",
        contact=sender.contact,
    )
    mark = [f"[ref-{token}]"] if token else []
    return Text(subject, "\n\n".join([*parts, end, sender.title, *mark]) + "\n")


def _arrived(words: Words, number: int) -> str:
    return words.counted(
        "{n} picture arrived. It waits until somebody has looked at it; nothing is shown before, "
        "and nothing without your consent.",
        "{n} pictures arrived. They wait until somebody has looked at them; nothing is shown "
        "before, and nothing without your consent.",
        number,
    )


def _codes(words: Words, sender: Sender, codes: Sequence[str]) -> str:
    lines = [
        words.text("Please keep the code with which you can have it deleted at any time:")
        if len(codes) == 1
        else words.text("Please keep the codes with which you can have each deleted at any time:")
    ]
    for number, code in enumerate(codes, start=1):
        lines.append(f"  {number}.  {code}" if len(codes) > 1 else f"  {code}")
    if sender.mailbox:
        lines.append(
            words.text(
                "To do so, write to {mailbox} with the words “take down” and the code as the "
                "subject, from whichever address.",
                mailbox=sender.mailbox,
            )
        )
    lines.append(
        words.counted(
            "What nobody has decided on after {n} day is deleted by itself.",
            "What nobody has decided on after {n} days is deleted by itself.",
            sender.keep_days,
        )
    )
    return "\n".join(lines)


def _form(
    words: Words,
    sender: Sender,
    missing: Sequence[str],
    wording: Wording | None,
    needs_consent: bool,
) -> str:
    labels = form_labels(words.language)
    lines = [f"{label}: " for name, label in labels.items() if name in missing]
    parts = []
    if needs_consent and wording is not None:
        parts += [
            words.text(
                "Before it can be shown we need your consent. Please answer this mail with these "
                "lines filled in (yes or no; days like 2031-04-17; what you leave empty is not "
                "shown)."
            )
            + " "
            + _of_age(words, sender),
            "\n".join(lines),
            words.text("This is what you agree to:"),
            wording.text.rstrip(),
        ]
    else:
        parts += [
            words.text("If you like, answer this mail with these lines filled in:"),
            "\n".join(lines),
        ]
    return "\n\n".join(parts)


def _of_age(words: Words, sender: Sender) -> str:
    if sender.minors == "never":
        return words.text("Pictures of children and young people are not taken here.")
    return words.text("Whoever is not of age names a parent or guardian, who agrees.")


def _confirm(words: Words, wording: Wording) -> str:
    return "\n\n".join(
        [
            words.text(
                "A mail with this sender says that you agree to its being shown. Anybody can write "
                "such a mail; so please answer this one with the word yes, if you do agree."
            ),
            words.text("This is what you agree to:"),
            wording.text.rstrip(),
        ]
    )


def _noted(words: Words, note: str) -> str:
    if note == WINMAIL:
        return words.text(
            "The attachment winmail.dat cannot be read here. Please attach pictures as files, in a "
            "mail of plain text or HTML."
        )
    if note == TOO_MANY:
        return words.text(
            "Your mail holds more pictures than are taken from one; please send the "
            "others in another mail."
        )
    if note == DAMAGED:
        return words.text("A picture did not arrive whole. Please send it again.")
    assert note == NO_PICTURE
    return words.text("What is attached besides pictures was passed over.")
