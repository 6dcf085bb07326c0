"""Who asks again: sessions, kept in memory by the hash of a random token in a cookie."""

import hashlib
import hmac
import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass, field

from lapsekit.web.limits import Seconds

IDLE_S = 12 * 3600.0
LONGEST_S = 7 * 86_400.0
_MOST = 10_000


@dataclass
class Session:
    """One browser.

    Attributes
    ----------
    form_token : str
        Stands in every form and goes with every change: a page of another site cannot know it.
    began_at, seen_at : float
        By the server's clock.
    is_signed_in : bool
    notes : list
        What the next page says once.
    """

    form_token: str
    began_at: float
    seen_at: float
    is_signed_in: bool = False
    notes: list = field(default_factory=list)

    def knows(self, token: str) -> bool:
        """Whether a form was made for this session."""
        return hmac.compare_digest(token.encode(), self.form_token.encode())


class Sessions:
    """All sessions of a server; a restart ends them.

    Parameters
    ----------
    clock : callable
    """

    def __init__(self, clock: Seconds):
        self._clock = clock
        self._known: OrderedDict[str, Session] = OrderedDict()
        self._lock = threading.Lock()  # handlers that sign in run on threads

    def begin(self, is_signed_in: bool) -> tuple[str, Session]:
        """A new session, and the token that its cookie holds."""
        now, token = self._clock(), secrets.token_urlsafe(32)
        session = Session(secrets.token_urlsafe(24), now, now, is_signed_in)
        with self._lock:
            self._known[_hash(token)] = session
            if len(self._known) > _MOST:
                self._make_room()
        return token, session

    def _make_room(self) -> None:
        """Forget the oldest of those who are not signed in: a flood must not end the others."""
        unsigned = (key for key, each in self._known.items() if not each.is_signed_in)
        del self._known[next(unsigned, next(iter(self._known)))]

    def find(self, token: str | None) -> Session | None:
        """The session of a cookie that we gave out; None for another, and for one that is over."""
        if not token:
            return None
        now, key = self._clock(), _hash(token)
        with self._lock:
            session = self._known.get(key)
            if session is None:
                return None
            if now - session.seen_at > IDLE_S or now - session.began_at > LONGEST_S:
                del self._known[key]
                return None
            session.seen_at = now
            self._known.move_to_end(key)
        return session

    def end(self, token: str | None) -> None:
        """Forget a session."""
        if token:
            with self._lock:
                self._known.pop(_hash(token), None)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
