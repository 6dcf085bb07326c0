"""Who may come in: the password, and patience with those who guess."""

import threading
import time
from math import ceil

from lapsekit.errors import SettingsError
from lapsekit.web.limits import Patience, Seconds
from lapsekit.web.passwords import matches

_EVERYBODY = "everybody"


class Gate:
    """Who may try a password, and how soon again: for each address, and for all together.

    Parameters
    ----------
    password_hash : str or None
    clock : callable
    """

    def __init__(self, password_hash: str | None, clock: Seconds = time.monotonic):
        self.password_hash = password_hash
        self._each = Patience(free=4, first_s=2, longest_s=900, clock=clock)
        self._all = Patience(free=40, first_s=1, longest_s=60, clock=clock, forget_s=3600)
        self._one_by_one = threading.Lock()  # each try takes 64 MB, and counts before the next

    def opens(self, who: str, password: str) -> bool:
        """Whether it is the password.

        Raises
        ------
        SettingsError
            If the address, or everybody, has to wait first.
        """
        with self._one_by_one:
            wait = max(self._each.wait_s(who), self._all.wait_s(_EVERYBODY))
            if wait > 0:
                told = f"Too many wrong passwords; wait {ceil(wait)} s, then try again."
                raise SettingsError(told)
            if self.password_hash is not None and matches(self.password_hash, password):
                self._each.succeeded(who)
                return True
            self._each.failed(who)
            self._all.failed(_EVERYBODY)
            return False
