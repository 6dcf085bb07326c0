"""Text that strangers wrote, made fit for files that programs read. Pure.

Diary, names and captions may hold anything: characters that XML forbids, marks that turn the
direction of what follows them, words of ten thousand letters. What cannot be shown is replaced by
the replacement character or a space, never by markup.
"""

import re

_NOT_XML = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_TURNING = re.compile("[\u202a-\u202e\u2066-\u2069]")
_ENDS_OF_LINE = re.compile("\r\n|[\r\x85\u2028\u2029]")
_ELLIPSIS = "…"


def readable(text: str) -> str:
    """`text` without control characters, halves of characters, and marks that turn direction.

    Left-to-right and right-to-left *marks*, which scripts of both directions need, stay; what
    opens an embedding, an override or an isolate goes, since it would reach beyond the text.
    """
    lines = _ENDS_OF_LINE.sub("\n", text)
    return _TURNING.sub("", _NOT_XML.sub("\ufffd", lines))


def one_line(text: str, longest: int = 300) -> str:
    """The same on one line, cut with an ellipsis where it has more than `longest` letters."""
    line = " ".join(readable(text).split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + _ELLIPSIS
