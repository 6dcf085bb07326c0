"""Take-down codes, and what came before: kept as salted hashes, so that files tell no secret."""

import hashlib
import hmac
import re
import secrets
from collections.abc import Iterable

from lapsekit.followers.records import FOLDER, Record, private_folder
from lapsekit.safely import write_safely
from lapsekit.season import Season

ALPHABET = "ABCDEFGHJKMNPQRSTVWXYZ"
"""Capitals that nobody takes for another: no I, L, O, U. Sixteen of them are 71 bits."""

SEEN = "seen.txt"
"""Hashes of the sources of all that ever came, deleted or not: nothing is taken in twice."""

_IN_LETTERS = re.compile(r"\b[A-Z]{4}(?:-[A-Z]{4}){3}\b|\[ref-\w+\]")
_GROUPS, _IN_GROUP = 4, 4
_LETTERS = _GROUPS * _IN_GROUP
_COST, _BLOCK, _MOST_BYTES = 2**14, 8, 64 << 20
_HASH = re.compile(r"scrypt\$([0-9a-f]{32})\$([0-9a-f]{64})")
_HEAD = re.compile(r"# lapsekit: hashes of what came, with the salt ([0-9a-f]{32})\n")


def new_code() -> str:
    """A code like ``KWTC-ZZRA-MHPN-DQXE``."""
    letters = "".join(secrets.choice(ALPHABET) for _ in range(_LETTERS))
    return "-".join(letters[at : at + _IN_GROUP] for at in range(0, _LETTERS, _IN_GROUP))


def as_code(text: str) -> str | None:
    """The code that somebody typed, in capitals or not, with any marks between; None for none."""
    letters = re.sub(r"[\s.\-–—_]", "", text[:100]).upper()
    if len(letters) != _LETTERS or set(letters) - set(ALPHABET):
        return None
    return "-".join(letters[at : at + _IN_GROUP] for at in range(0, _LETTERS, _IN_GROUP))


def struck(text: str) -> str:
    """A letter that went out as it is kept: without its take-down codes and its token."""
    return _IN_LETTERS.sub("…", text)


def code_hash(code: str, salt: str) -> str:
    """What a record keeps of its code (scrypt, RFC 7914)."""
    made = hashlib.scrypt(
        code.encode(),
        salt=bytes.fromhex(salt),
        n=_COST,
        r=_BLOCK,
        p=1,
        maxmem=_MOST_BYTES,
        dklen=32,
    )
    return f"scrypt${salt}${made.hex()}"


def record_with_code(code: str, records: Iterable[Record]) -> Record | None:
    """The record that a code belongs to; takes as long whichever it is, and if it is none."""
    hashes: dict[str, str] = {}
    found = None
    for record in records:
        match = _HASH.fullmatch(record.code_hash)
        if match is None:
            continue
        if match[1] not in hashes:
            hashes[match[1]] = code_hash(code, match[1])
        if hmac.compare_digest(hashes[match[1]], record.code_hash):
            found = record
    return found


class Seen:
    """What came before; the caller holds the season's lock for texts.

    Parameters
    ----------
    season : Season
    """

    def __init__(self, season: Season):
        self._file = season.folder / FOLDER / SEEN
        text = self._file.read_text() if self._file.exists() else ""
        head = _HEAD.match(text)
        self.holds_salt = head is not None
        self.salt = head[1] if head else secrets.token_hex(16)
        self._hashes = set(text.splitlines()[1:]) if head else set()

    def hash_of(self, source: str) -> str:
        """What is kept of a source."""
        key = bytes.fromhex(self.salt)
        return hmac.new(key, source.encode(errors="replace"), hashlib.sha256).hexdigest()

    def holds(self, source_hash: str) -> bool:
        """Whether it came before."""
        return source_hash in self._hashes

    def add(self, source_hash: str) -> None:
        """Note that it came."""
        self._hashes.add(source_hash)
        self.write()

    def write(self) -> None:
        """Write salt and hashes down."""
        private_folder(self._file.parent)
        lines = [f"# lapsekit: hashes of what came, with the salt {self.salt}"]
        lines += sorted(self._hashes)
        write_safely(self._file, ("\n".join(lines) + "\n").encode(), 0o600)
