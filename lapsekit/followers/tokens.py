"""Tokens in letters: whoever answers with one reads the mailbox that the letter went to.

The token of a picture is made of who sent it and in which mail, and of a secret of the season's, so
that every letter about it has the same, and answers to an earlier one are understood. The pictures
of one mail share one.
"""

import hashlib
import hmac
import secrets

from lapsekit.followers.records import FOLDER, Record, private_folder, writing
from lapsekit.safely import write_safely
from lapsekit.season import Season

KEY_FILE = ".mail-key"
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LENGTH = 16


def token_of(season: Season, record: Record) -> str:
    """Sixteen letters (80 bits) that nobody can guess."""
    about = f"{record.contact}\n{record.thread or record.id}"
    made = hmac.new(_key(season), about.encode(errors="replace"), hashlib.sha256).digest()
    return "".join(_LETTERS[byte % 32] for byte in made[:_LENGTH])


def hash_of(token: str) -> str:
    """What a record keeps of a token; "" of none."""
    return hashlib.sha256(token.encode()).hexdigest() if token else ""


def _key(season: Season) -> bytes:
    file = season.folder / FOLDER / KEY_FILE
    if not file.is_file():
        with writing(season):
            if not file.is_file():
                private_folder(file.parent)
                write_safely(file, secrets.token_hex(32).encode(), 0o600)
    return file.read_bytes()
