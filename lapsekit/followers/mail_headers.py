"""Headers of a mail, as they can be used: who wrote it, what it answers, whether anybody did. Pure.

Nothing in a header is believed. What goes on from here into an answer (`sender`, `thread`) has no
line ends and no characters but those that belong there.
"""

import codecs
import re
from contextlib import suppress
from email.errors import HeaderParseError
from email.header import decode_header
from email.message import Message

from lapsekit.followers.arrivals import is_address
from lapsekit.plain import one_line, readable

_MESSAGE_ID = re.compile(r"<[!-;=?-~]{1,250}>")
_NOBODY = re.compile(
    r"(?:mailer-daemon|postmaster|no-?reply|do-?not-?reply|bounces?|notifications?)(?:[+._-].*)?@.*",
    re.IGNORECASE,
)
_CHARSETS = re.compile(
    r"(?:utf|iso8859|iso2022|cp\d|windows|ascii|latin|koi8|mac|big5|gb|euc|shift|johab|hz|tis)"
)
_REFERENCES = 10


def said(message: Message, name: str, longest: int = 1000) -> str:
    """A header's text on one line, decoded (RFC 2047); "" for none."""
    value = str(message.get(name) or "")
    found = ""
    with suppress(HeaderParseError, ValueError, LookupError, TypeError, RecursionError):
        for text, charset in decode_header(value[: 4 * longest]):
            found += text if isinstance(text, str) else text_in(text, longest, charset or "ascii")
    return one_line(found or value, longest)


def text_in(text: bytes | str, longest: int, charset: str = "utf-8") -> str:
    """Bytes as text: by a charset that was named, in UTF-8, or as Western mail programs mean it."""
    if isinstance(text, str):
        text = text.encode("utf-8", "surrogateescape")
    for name in (charset, "utf-8"):
        with suppress(LookupError, UnicodeError, ValueError):
            known = codecs.lookup(name).name
            if _CHARSETS.match(known):  # others are slow, or no charsets
                return readable(text.decode(known)[:longest])
    return readable(text.decode("cp1252", "replace")[:longest])


def sender(message: Message) -> str:
    """The one address of the From line; "" where there is none, or several."""
    value = str(message.get("From") or "")[:2000]
    in_brackets = re.findall(r"<([^<>]*)>", value)
    given = in_brackets or re.split(r"[,\s]+", value.strip())
    found = [each.strip() for each in given if is_address(each.strip())]
    return found[0] if len(given) == 1 and found else ""


def thread(message: Message) -> tuple[str, str]:
    """The Message-ID ("" for none), and the ids that an answer refers to, its own the last."""
    own = _MESSAGE_ID.search(str(message.get("Message-ID") or "")[:1000])
    before = _MESSAGE_ID.findall(str(message.get("References") or ""))
    before = before or _MESSAGE_ID.findall(str(message.get("In-Reply-To") or "")[:1000])
    ids = [*before[-_REFERENCES:], *([own[0]] if own else [])]
    return own[0] if own else "", " ".join(dict.fromkeys(ids))


def is_reply_of_machine(message: Message) -> bool:
    """A bounce, or an answer that a program gave; what it carries is what it answers."""
    kind = str(message.get("Content-Type") or "").lower()
    is_reply = said(message, "Auto-Submitted").lower().startswith("auto-replied")
    return is_reply or kind.lstrip().startswith(("multipart/report", "message/delivery-status"))


def is_automatic(message: Message) -> bool:
    """Whether a program wrote it, or a list sent it on: such a mail is not answered (RFC 3834)."""
    if is_reply_of_machine(message) or any(name in message for name in _OF_MACHINES):
        return True
    if said(message, "Auto-Submitted").lower().split(";")[0].strip() not in ("", "no"):
        return True
    if said(message, "Precedence").lower() in ("bulk", "list", "junk", "auto_reply"):
        return True
    if str(message.get("Return-Path") or "x").strip() == "<>":
        return True
    suppressed = said(message, "X-Auto-Response-Suppress").lower()
    if any(word in suppressed for word in ("all", "oof", "autoreply")):
        return True
    from_address = sender(message)
    return not from_address or _NOBODY.fullmatch(from_address) is not None


_OF_MACHINES = (
    *("List-Id", "List-Unsubscribe", "List-Post", "X-Autoreply", "X-Autorespond"),
    *("X-Loop", "Feedback-ID"),
)
