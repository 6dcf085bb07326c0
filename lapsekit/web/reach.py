"""From where a server of ours can be reached."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Reach:
    """From where a server can be reached.

    Attributes
    ----------
    hosts : frozenset of str
        See `lapsekit.web.guard.Rules`.
    is_secure : bool
        Whether browsers reach it over TLS, of its own or a proxy's.
    proxies : frozenset of str
        Addresses of proxies; where there are any, nobody else is answered.
    password_hash : str or None
        None where whoever reaches it may do everything: at the desk on loopback alone.
    port : int
        That it listens at. Browsers keep one jar of cookies for all ports of a machine, so it
        stands in the cookie's name: else two servers would take each other's sessions away.
    """

    hosts: frozenset[str]
    is_secure: bool = False
    proxies: frozenset[str] = frozenset()
    password_hash: str | None = None
    port: int = 0

    def cookie(self, name: str) -> str:
        """Name of a session's cookie."""
        return ("__Host-" if self.is_secure else "") + f"{name}-{self.port}"
