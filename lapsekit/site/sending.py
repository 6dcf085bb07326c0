"""How a follower sends a picture by mail: lines to fill in, a link that opens them. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING
from urllib.parse import quote

from lapsekit.followers.told_lines import CODE, form_labels
from lapsekit.plain import one_line

if TYPE_CHECKING:
    from lapsekit.language.words import Words

_END = "\r\n"


def lines_to_fill(words: Words, with_parent: bool) -> tuple[tuple[str, str], ...]:
    """What each line of a mail begins with, and what follows its colon.

    Parameters
    ----------
    words : Words
    with_parent : bool
        Whether somebody may send who is not of age.
    """
    text = words.text
    told = {
        "name": text("the name to show with it; it need not be yours"),
        "plant": text("what it is"),
        "sown": text("the day, like 2031-03-05"),
        "taken_on": text("the day of the picture"),
        "caption": text("a sentence about it, if you like"),
        "agrees": text("yes, if you agree to what stands below"),
        "is_of_age": text("yes or no"),
        "parent": text("if you are not: the name of a parent or guardian who agrees"),
    }
    labels = form_labels(words.language).items()
    return tuple((label, told[of]) for of, label in labels if with_parent or of != "parent")


def code_line(words: Words) -> str:
    """What the line of a mail begins with that takes a picture down."""
    return CODE.get(words.language, CODE["en"])


def mail_link(address: str, words: Words, title: str, labels: Iterable[str]) -> str:
    """An address of RFC 6068 that opens a mail with the lines in it, nothing agreed to yet."""
    hint = words.text("Fill in what follows each colon, and attach the picture.")
    body = _END.join([hint, "", *(f"{label}: " for label in labels), ""])
    return _mail(address, words.text("A picture for {title}", title=one_line(title)), body)


def code_link(address: str, words: Words) -> str:
    """The same for a mail that takes a picture down."""
    return _mail(address, words.text("Take a picture down"), f"{code_line(words)}: {_END}")


def _mail(address: str, subject: str, body: str) -> str:
    return f"mailto:{quote(address, safe='@')}?subject={quote(subject)}&body={quote(body)}"
