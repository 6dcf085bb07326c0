"""A password, kept as its argon2id hash (RFC 9106). The only module that imports argon2."""

import unicodedata
from pathlib import Path

from lapsekit.errors import MissingExtra, SettingsError
from lapsekit.safely import write_safely

LEAST_LETTERS = 10
_LONGEST = 1000


def hashed(password: str) -> str:
    """The hash to keep.

    Raises
    ------
    SettingsError
        If the password is short, or absurdly long.
    MissingExtra
        Without the library.
    """
    if not LEAST_LETTERS <= len(password) <= _LONGEST:
        raise SettingsError(
            f"a password needs at least {LEAST_LETTERS} letters; a few words in a row are easy to "
            "type and hard to guess"
        )
    return _hasher().hash(_same(password))


def matches(kept: str, password: str) -> bool:
    """Whether it is the password; takes as long for a wrong one."""
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return len(password) <= _LONGEST and _hasher().verify(kept, _same(password))
    except (VerificationError, InvalidHashError):
        return False


def keep_password(path: Path, password: str) -> None:
    """Write the hash of a password where only its owner can read it."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    write_safely(path, (hashed(password) + "\n").encode(), mode=0o600)


def kept_password(path: Path) -> str | None:
    """The hash that is kept; None without one.

    Raises
    ------
    SettingsError
        If others than its owner can read it.
    """
    try:
        if path.stat().st_mode & 0o077:
            raise SettingsError(f"{path}: others can read it; run chmod 600 {path}")
        return path.read_text(encoding="ascii").strip() or None
    except FileNotFoundError:
        return None


def _same(password: str) -> str:
    """One spelling of what looks the same: keyboards write an ä as one letter, or as two."""
    return unicodedata.normalize("NFC", password)


def _hasher():
    try:
        from argon2 import PasswordHasher
    except ImportError as error:
        raise MissingExtra("a password", "desk") from error
    return PasswordHasher()
