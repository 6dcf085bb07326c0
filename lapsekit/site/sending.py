"""How a follower sends a picture by mail: lines to fill in, a link that opens them. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

if TYPE_CHECKING:
    from lapsekit.language.words import Words

_END = "\r\n"


def lines_to_fill(words: Words) -> tuple[tuple[str, str], ...]:
    """What each line of a mail begins with, and what follows its colon."""
    text = words.text
    return (
        (text("Name"), text("the name to show with it; it need not be yours")),
        (text("Plant"), text("what it is")),
        (text("Sown"), text("the day, like 2031-03-05")),
        (text("Taken"), text("the day of the picture")),
        (text("Caption"), text("a sentence about it, if you like")),
        (text("I agree"), text("yes, if you agree to what stands below")),
        (text("I am of age"), text("yes or no")),
        (text("Parent"), text("if you are not: the name of a parent or guardian who agrees")),
    )


def code_line(words: Words) -> str:
    """What the line of a mail begins with that takes a picture down."""
    return words.text("Take down")


def mail_link(address: str, words: Words, title: str) -> str:
    """An address of RFC 6068 that opens a mail with the lines in it, nothing agreed to yet."""
    lines = [f"{label}: " for label, _ in lines_to_fill(words)]
    hint = words.text("Fill in what follows each colon, and attach the picture.")
    body = _END.join([hint, "", *lines, ""])
    subject = words.text("A picture for {title}", title=title)
    return f"mailto:{quote(address, safe='@')}?subject={quote(subject)}&body={quote(body)}"


def code_link(address: str, words: Words) -> str:
    """The same for a mail that takes a picture down."""
    body = f"{code_line(words)}: {_END}"
    subject = words.text("Take a picture down")
    return f"mailto:{quote(address, safe='@')}?subject={quote(subject)}&body={quote(body)}"
