"""The bytes of a mail -> what it says, tells and carries. Pure, and for whatever bytes there are.

The standard library's parser is used in its most lenient form, and kept from what makes it slow
or deep: headers are cut before it looks at them, and a mail of too many lines or parts is refused.
"""

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from email.message import Message
from email.parser import BytesParser
from email.policy import Compat32
from hashlib import sha256

from lapsekit.followers.mail_headers import (
    is_automatic,
    is_reply_of_machine,
    said,
    sender,
    text_in,
    thread,
)
from lapsekit.followers.mail_text import LONGEST, Parted, parted, text_of_html, unflowed
from lapsekit.followers.told_lines import NOTHING, Told, told_lines, yes_or_no

MOST_PICTURES = 20
"""Pictures of one mail that are looked at."""

TOO_MANY, WINMAIL, NO_PICTURE, DAMAGED = "too many", "winmail", "no picture", "damaged"
"""What `Letter.notes` may hold."""

_MOST_LINES, _MOST_PARTS, _MOST_NESTED = 2_000_000, 60, 30
_LONGEST_HEADER = 8_000
_LEAST_BYTES = 4_000
_TOKEN = re.compile(r"\bref-([0-9A-HJKMNP-TV-Z]{16})\b", re.IGNORECASE)
_TAKE_DOWN = re.compile(
    r"(?:(?:re|aw|fwd?|wg): *)*(?:take[ -]?down|l(?:ö|oe)schen)[: ]+(\S.{0,60})", re.IGNORECASE
)
_MAGIC = (
    (0, b"\xff\xd8\xff"),
    (0, b"\x89PNG\r\n\x1a\n"),
    (8, b"WEBP"),
    (0, b"II*\0"),
    (0, b"MM\0*"),
    (0, b"GIF8"),
)
_HEIF = frozenset((b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif"))
_NEVER = frozenset(("image/svg+xml", "image/x-icon", "image/vnd.microsoft.icon"))
_BESIDE = frozenset(
    ("application/pgp-signature", "application/pkcs7-signature", "text/calendar", "text/x-vcard")
)
_GERMAN = set(
    re.findall(r"\w+", "und ich ist mein meine das die der ein eine mit hallo liebe nicht für")
)
_ENGLISH = set(re.findall(r"\w+", "and i is my the a with hello dear hi not for this are of to it"))


@dataclass(frozen=True)
class Attached:
    """Bytes that say to be a picture, and the name that they came by."""

    file_name: str
    data: bytes = field(repr=False)


@dataclass(frozen=True, kw_only=True)
class Letter:
    """A mail; everything in it is a stranger's.

    Attributes
    ----------
    key : str
        32 hexadecimal digits, the same whenever this mail is read: of the Message-ID, or where
        there is none of all bytes.
    message_id : str
        With its angle brackets; "" for none that can be used.
    references : str
        Message-IDs that an answer refers to, in order.
    sender : str
        The address of the From line, which proves nothing; "" for none that can be used.
    subject, text : str
        What was written itself, without quotes and signature.
    told : Told
        By lines of its own text.
    told_in_quotes : Told
        By lines of what it quotes: a form may have been filled in there.
    says_yes : bool
        Whether the first line that says anything is a yes.
    language : str
        ``en``, ``de``, or "" where it cannot be told.
    pictures : tuple of Attached
    is_automatic : bool
        Nobody wrote it: it is never answered.
    code : str
        The take-down code that is told; "" for none. Not looked for in quotes.
    tokens : tuple of str
        Tokens of mails of ours that it answers.
    notes : tuple of str
        `WINMAIL`, `NO_PICTURE` (something else was attached), `TOO_MANY` pictures, `DAMAGED`.
    """

    key: str
    message_id: str = ""
    references: str = ""
    sender: str = ""
    subject: str = ""
    text: str = ""
    told: Told = NOTHING
    told_in_quotes: Told = NOTHING
    says_yes: bool = False
    language: str = ""
    pictures: tuple[Attached, ...] = ()
    is_automatic: bool = False
    code: str = ""
    tokens: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class _Bounded(Compat32):
    """Headers are cut before anybody looks into them."""

    def header_source_parse(self, sourcelines: list[str]) -> tuple[str, str]:
        name, value = super().header_source_parse(sourcelines)
        return name[:200], value[:_LONGEST_HEADER]


def read_letter(data: bytes, came_on: date) -> Letter:
    """Read a mail.

    Parameters
    ----------
    data : bytes
        Any.
    came_on : date
        Its day, by which days without a year are understood.

    Returns
    -------
    Letter
        Whatever the bytes are; it holds nothing where they are built so that they are not opened.
    """
    whole = sha256(data).hexdigest()[:32]
    if not _may_be_opened(data):
        return Letter(key=whole, is_automatic=True)
    try:
        message = BytesParser(policy=_Bounded()).parsebytes(data)
        return _letter(message, whole, came_on)
    except (RecursionError, MemoryError, ValueError, LookupError, TypeError, AttributeError):
        # faults of the standard library's parser; it has some of each
        return Letter(key=whole, is_automatic=True)


def _may_be_opened(data: bytes) -> bool:
    if data.count(b"\n") + data.count(b"\r") > 2 * _MOST_LINES:
        return False
    found = (re.finditer(rb"(?i)boundary\*?[0-9]*\*?[ \t]*=", data), _MOST_PARTS)
    nested = (re.finditer(rb"(?i)message/rfc822", data), _MOST_NESTED)
    return all(sum(1 for _ in each) <= most for each, most in (found, nested))


def _letter(message: Message, whole: str, came_on: date) -> Letter:
    parts = _Parts(message)
    text = parts.parted()
    subject, (message_id, references) = said(message, "Subject", 300), thread(message)
    told, quoted = told_lines(text.own, came_on), told_lines(text.quoted, came_on)
    seen = " ".join((references, said(message, "In-Reply-To"), subject, *text.own, *text.quoted))
    asked = _TAKE_DOWN.fullmatch(subject)
    return Letter(
        key=sha256(message_id.encode()).hexdigest()[:32] if message_id else whole,
        message_id=message_id,
        references=references,
        sender=sender(message),
        subject=subject,
        text="\n".join(text.own).strip(),
        told=told,
        told_in_quotes=quoted,
        says_yes=_says_yes(text),
        language=_language(told, text),
        pictures=() if is_reply_of_machine(message) else tuple(parts.pictures[:MOST_PICTURES]),
        is_automatic=is_automatic(message),
        code=told.code or (asked[1].strip() if asked else ""),
        tokens=tuple(dict.fromkeys(t.upper() for t in _TOKEN.findall(seen[:LONGEST])))[:5],
        notes=tuple(parts.notes()),
    )


def _says_yes(text: Parted) -> bool:
    first = next((line for line in text.own if line.strip()), "")
    return yes_or_no(first) is True


def _language(told: Told, text: Parted) -> str:
    if told.is_anything:
        return "de" if told.is_german else "en"
    words = re.findall(r"\w+", " ".join(text.own)[:5000].casefold())
    german, english = (sum(w in known for w in words) for known in (_GERMAN, _ENGLISH))
    return "" if german == english else "de" if german > english else "en"


class _Parts:
    """The parts of a message, sorted into text, pictures and the rest."""

    def __init__(self, message: Message):
        self.pictures: list[Attached] = []
        self._own: list[str] = []
        self._forwarded: list[str] = []
        self._html: list[str] = []
        self._rest: list[str] = []
        self._is_damaged = False
        for part, is_forwarded in _walked(message):
            self._sort(part, is_forwarded)

    def _sort(self, part: Message, is_forwarded: bool) -> None:
        kind = _attempt(part.get_content_type, "application/octet-stream")
        name = text_in(_attempt(part.get_filename, None) or "", 200)
        is_attached = "attachment" in said(part, "Content-Disposition").lower()[:20]
        if kind in ("text/plain", "text/html") and not is_attached:
            texts = self._forwarded if is_forwarded else self._own
            (self._html if kind == "text/html" and not is_forwarded else texts).append(_text(part))
            return
        data = _attempt(lambda: part.get_payload(decode=True), None) or b""
        if not data:
            self._is_damaged = self._is_damaged or kind.startswith("image/")
        elif kind == "application/ms-tnef" or name.lower() == "winmail.dat":
            self._rest.append(WINMAIL)
        elif kind not in _NEVER and (kind.startswith("image/") or _is_picture(data)):
            if len(data) >= _LEAST_BYTES or is_attached:
                self.pictures.append(Attached(name, data))
        elif kind not in _BESIDE:
            self._rest.append(NO_PICTURE)

    def parted(self) -> Parted:
        """The text, that of a plain part before that of HTML."""
        plain = "\n".join(self._own)
        if not plain.strip():
            plain = "\n".join(map(text_of_html, self._html))
        found = parted(plain)
        forwarded = "\n".join(self._forwarded)[:LONGEST].splitlines()
        return Parted(found.own, (*found.quoted, *forwarded))

    def notes(self) -> Iterator[str]:
        """What is to be said of the parts."""
        yield from dict.fromkeys(self._rest)
        if len(self.pictures) > MOST_PICTURES:
            yield TOO_MANY
        if self._is_damaged:
            yield DAMAGED


def _walked(message: Message) -> Iterator[tuple[Message, bool]]:
    """Parts that hold something themselves, and whether they are of a mail inside."""
    waiting, count = [(message, False)], 0
    while waiting and count < _MOST_PARTS * 4:
        part, is_forwarded = waiting.pop(0)
        count += 1
        if isinstance(part.get_payload(), list):
            inside = is_forwarded or part.get_content_maintype() == "message"
            waiting[:0] = [(each, inside) for each in part.get_payload()]
        else:
            yield part, is_forwarded


def _text(part: Message) -> str:
    """Text of a part: by the charset that it names, or the one that fits."""
    data = _attempt(lambda: part.get_payload(decode=True), None) or b""
    charset = str(_attempt(part.get_content_charset, None) or "utf-8")
    text = text_in(data[: 8 * LONGEST], 8 * LONGEST, charset)
    if part.get_content_type() == "text/html":
        return text
    if str(_attempt(lambda: part.get_param("format"), "")).lower() == "flowed":
        without = str(_attempt(lambda: part.get_param("delsp"), "")).lower() == "yes"
        return unflowed(text, without)
    return text


def _is_picture(data: bytes) -> bool:
    if data[4:8] == b"ftyp":
        return data[8:12] in _HEIF
    return any(data[at : at + len(magic)] == magic for at, magic in _MAGIC)


def _attempt(ask, otherwise):
    """What the parser says, or `otherwise` where it stumbles."""
    with suppress(ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return ask()
    return otherwise
