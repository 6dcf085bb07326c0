"""The text of a mail: out of HTML, without its signature, what is quoted apart. Pure."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from html import unescape

LONGEST = 200_000
"""Letters of a mail's text that are read."""

_MOST_LINES = 5000
_BLOCKS = frozenset(
    (
        *("address", "blockquote", "br", "div", "dd", "dt", "h1", "h2", "h3", "h4", "h5", "h6"),
        *("hr", "li", "p", "pre", "table", "tr"),
    )
)
_UNREAD = frozenset(("head", "script", "style", "template", "title"))
_TAG = re.compile(r"<(/?)([A-Za-z][A-Za-z0-9]{0,20})\b")
_DEEPEST = 200
_QUOTING = re.compile(r"gmail_quote|yahoo_quoted|moz-cite-prefix|divRplyFwdMsg|appendonsend")
_ABOVE_QUOTE = re.compile(
    r"(?:On|Am|Le) .{4,200}(?:wrote|schrieb).{0,120}:"
    r"|.{2,120} (?:wrote|schrieb)(?: am .{4,60})?:",
    re.IGNORECASE,
)
_RULE = re.compile(
    r"[-_]{3,} ?(?:original message|ursprüngliche nachricht|originalnachricht|weitergeleitete "
    r"nachricht|forwarded message|reply message|antwort) ?[-_]{3,}|_{20,}|"
    r"begin forwarded message:|anfang der weitergeleiteten nachricht:",
    re.IGNORECASE,
)
_HEADS = re.compile(r"\*?(?:from|von|sent|gesendet|date|datum|to|an|subject|betreff):\*? ?\S", re.I)


@dataclass(frozen=True)
class Parted:
    """Lines that the sender wrote, and lines that the sender quoted."""

    own: tuple[str, ...]
    quoted: tuple[str, ...]


def parted(written: str) -> Parted:
    """Part what was written from what is quoted, and leave out a signature.

    Parameters
    ----------
    written : str
        Of a mail; cut at `LONGEST` letters.
    """
    lines = written[:LONGEST].splitlines()[:_MOST_LINES]
    end = next((n for n, _ in enumerate(lines) if _begins_quote(lines, n)), len(lines))
    own, quoted, is_signature = [], [], False
    for line in lines[:end]:
        if line.lstrip().startswith(">"):
            quoted.append(_unquoted(line))
            is_signature = False
            continue
        is_signature = is_signature or line in ("-- ", "--")
        if not is_signature:
            own.append(line.replace("\u00a0", " "))
    return Parted(tuple(own), (*quoted, *map(_unquoted, lines[end:])))


def _unquoted(line: str) -> str:
    return re.sub(r"^[>\s]+", "", line)


def _begins_quote(lines: list[str], number: int) -> bool:
    """Whether all from this line on is what another mail said."""
    line = lines[number].strip()
    if _RULE.fullmatch(line):
        return True
    following = [each.strip() for each in lines[number + 1 : number + 4]]
    if _HEADS.match(line):
        return sum(bool(_HEADS.match(each)) for each in following) >= 2
    wrote = line if line.endswith(":") else f"{line} {following[0] if following else ''}"
    return bool(len(wrote) < 400 and _ABOVE_QUOTE.fullmatch(wrote)) and not any(
        # answers that stand between quoted lines are the sender's own
        each.startswith(">")
        for each in following
    )


def unflowed(flowed: str, is_without_space: bool = False) -> str:
    """Lines of ``format=flowed`` (RFC 3676) put together again."""
    out, open_line = [], ""
    for line in flowed[: 2 * LONGEST].splitlines():
        line = line[1:] if line.startswith(" ") and not line.startswith(" >") else line
        goes_on = line.endswith(" ") and line != "-- " and not line.startswith(">")
        if goes_on:
            open_line += line[:-1] if is_without_space else line
            continue
        out.append(open_line + line)
        open_line = ""
    return "\n".join([*out, open_line] if open_line else out)


def text_of_html(html: str) -> str:
    """The text of an HTML mail, a line for each block; what it quotes begins with ``>``.

    Takes time in proportion to the length, whatever stands there; the parser of the standard
    library does not.
    """
    parts, quoting, unread, at = [], [], "", 0
    html = html[: 4 * LONGEST]
    while at < len(html):
        text, tag, at = _next_tag(html, at)
        if not unread:
            parts.append(re.sub(r"\s+", " ", unescape(text)))
        found = _TAG.match(tag)
        if found is None:
            continue
        closes, name = bool(found[1]), found[2].lower()
        if name in _UNREAD and (not unread or name == unread):
            unread = "" if closes else name
        if name in ("div", "blockquote"):
            _quote(quoting, closes, name == "blockquote" or bool(_QUOTING.search(tag)))
        if name in _BLOCKS:
            parts.append("\n> " if any(quoting[-_DEEPEST:]) else "\n")
    return "\n".join(_said("".join(parts)))


def _next_tag(html: str, at: int) -> tuple[str, str, int]:
    """The text up to the next tag, the tag, and where it ends; a comment is no tag."""
    begins = html.find("<", at)
    if begins < 0:
        return html[at:], "", len(html)
    closing = "-->" if html.startswith("<!--", begins) else ">"
    ends = html.find(closing, begins)
    ends = len(html) if ends < 0 else ends + len(closing)
    return html[at:begins], html[begins : min(ends, begins + 2000)], ends


def _quote(quoting: list[bool], closes: bool, quotes: bool) -> None:
    """Enter a block that may be a quotation, or leave one."""
    if not closes:
        quoting.append(quotes)
    elif quoting:
        quoting.pop()


def _said(text: str) -> Iterator[str]:
    """Lines with something in them."""
    for line in text.split("\n"):
        if line.strip(" >\u00a0"):
            yield line.rstrip() if line.startswith("> ") else line.strip()
