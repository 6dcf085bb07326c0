"""Who may come in: the password, and patience with those who guess."""

import time

from lapsekit.errors import SettingsError
from lapsekit.web.limits import Patience
from lapsekit.web.passwords import matches

_EVERYBODY = "everybody"


class Gate:
    """Who may try a password, and how soon again: for each address, and for all together.

    Parameters
    ----------
    password_hash : str or None
    """

    def __init__(self, password_hash: str | None):
        self.password_hash = password_hash
        self._each = Patience(free=4, first_s=2, longest_s=900, clock=time.monotonic)
        self._all = Patience(free=40, first_s=1, longest_s=60, clock=time.monotonic)

    def opens(self, who: str, password: str) -> bool:
        """Whether it is the password.

        Raises
        ------
        SettingsError
            If the address, or everybody, has to wait first.
        """
        wait = max(self._each.wait_s(who), self._all.wait_s(_EVERYBODY))
        if wait > 0:
            raise SettingsError(f"Too many wrong passwords; wait {wait:.0f} s, then try again.")
        if self.password_hash is not None and matches(self.password_hash, password):
            self._each.succeeded(who)
            return True
        self._each.failed(who)
        self._all.failed(_EVERYBODY)
        return False
