"""Sessions that the server keeps nothing of: the cookie is signed, and the form's token follows.

For pages that anybody may open: however many come, nobody loses a form that is half filled in.
"""

import hashlib
import hmac
import secrets

from lapsekit.web.limits import Seconds
from lapsekit.web.sessions import LONGEST_S, Session

_LONGEST_TOKEN = 200


class SignedSessions:
    """Sessions by their cookies alone; a restart ends them, and nobody is ever signed in.

    Parameters
    ----------
    clock : callable
    """

    def __init__(self, clock: Seconds):
        self._clock = clock
        self._key = secrets.token_bytes(32)

    def begin(self, is_signed_in: bool) -> tuple[str, Session]:
        """A new session, and the token that its cookie holds."""
        if is_signed_in:
            raise ValueError("signed sessions cannot be ended, so nobody signs in by one")
        began_at = self._clock()
        told = f"{secrets.token_urlsafe(18)}.{int(began_at)}"
        return f"{told}.{self._mark('cookie', told)}", self._session(told, began_at)

    def find(self, token: str | None) -> Session | None:
        """The session of a cookie that we gave out; None for another, and for one that is over."""
        if not token or len(token) > _LONGEST_TOKEN or not token.isascii():
            return None
        told, _, mark = token.rpartition(".")
        if not hmac.compare_digest(mark, self._mark("cookie", told)):
            return None
        began_at = float(told.rpartition(".")[2])
        return None if self._clock() - began_at > LONGEST_S else self._session(told, began_at)

    def end(self, token: str | None) -> None:
        """Nothing: there is nothing to forget."""

    def _session(self, told: str, began_at: float) -> Session:
        return Session(self._mark("form", told), began_at, self._clock())

    def _mark(self, what: str, told: str) -> str:
        return hmac.new(self._key, f"{what} {told}".encode(), hashlib.sha256).hexdigest()
