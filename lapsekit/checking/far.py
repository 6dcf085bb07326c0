"""What lies outside: names of machines that are needed, and the place of publication."""

import re
import socket
import threading
from collections.abc import Iterator
from urllib.parse import urlsplit

from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.counted import counted
from lapsekit.errors import LapsekitError
from lapsekit.places import Place, open_place
from lapsekit.posting import read_addresses
from lapsekit.publishing.manifest import MANIFEST, STATE, unpacked
from lapsekit.trust import is_trusted

RESOLVE_S = 10.0
"""A name that is not found within so long is not found."""

_WHOLE_STATE = 64  # digits of a hash; what stands there during a publication is shorter


def network(look: Look) -> Iterator[Finding]:
    """Whether the names of the machines that are set up are known to the network."""
    wanted = dict(_hosts(look))
    missing = [what for what, host in wanted.items() if not resolves(host)]
    if missing:
        told = f"no address is found for {', '.join(missing)}; check the connection and the name"
        yield Finding("network", WRONG, told)
    elif wanted:
        yield Finding("network", FINE, f"finds the machines of {', '.join(wanted)}")


def resolves(host: str) -> bool:
    """Whether a name of a machine leads to an address, within `RESOLVE_S`."""
    found = []

    def ask() -> None:
        try:
            found.extend(socket.getaddrinfo(host, None))
        except (OSError, UnicodeError):
            return

    asking = threading.Thread(target=ask, daemon=True)  # the system's own limit may be minutes
    asking.start()
    asking.join(RESOLVE_S)
    return bool(found)


def _hosts(look: Look) -> Iterator[tuple[str, str]]:
    """What a machine is needed for, and its name; an alert's is asked for and not told."""
    season = look.season
    if not is_trusted(season.folder):
        return  # its names are nobody's to ask for
    for what in ("publish", "copies"):
        far = getattr(season.settings, what)
        remote = (
            re.match(r"(?:[^/:@]+@)?([^/:@]+):", far.target or "") if far.to == "rsync" else None
        )
        if remote:
            yield f"{what} ({remote[1]})", _behind_alias(look, remote[1])
        elif far.to == "webdav" and (host := urlsplit(far.target or "").hostname):
            yield f"{what} ({host})", host
    followers = season.settings.followers
    for what, table in (("followers' mail", followers.mail), ("letters", followers.answers)):
        if table is not None:
            yield f"{what} ({table.host})", table.host.strip("[]")
    if season.settings.alerts.to_file is None:
        return
    try:
        addresses = read_addresses(season.settings.alerts.to_file, season.folder)
    except LapsekitError:
        return  # told of by the alert channel
    for address in addresses:
        if address.host:
            yield f"alert address {address.number}", address.host


def _behind_alias(look: Look, host: str) -> str:
    """The machine that SSH's own settings mean by a name."""
    said = look.run(["ssh", "-G", "--", host]) or ""
    found = re.search(r"(?m)^hostname (\S+)$", said)
    return found[1] if found else host


def publishing(look: Look) -> Iterator[Finding]:
    """Whether the place of publication answers, and holds by name what was put there."""
    season = look.season
    if season.settings.publish.to is None:
        return
    try:
        place = open_place(season.settings.publish, season.folder)
        state = place.read(STATE)
        gone = _gone(place) if state is not None and len(state) >= _WHOLE_STATE else []
    except LapsekitError as error:
        yield Finding("publishing", WRONG, str(error))
        return
    if state is None:
        yield Finding("publishing", WATCH, f"{place} answers; nothing was published there yet")
    elif len(state) < _WHOLE_STATE:
        yield Finding("publishing", WATCH, f"{place}: a publication was cut off; the next goes on")
    elif gone:
        others = counted(len(gone) - 1, "more file")
        more = f" and {others} are" if len(gone) > 1 else " is"
        told = f"{place}: {gone[0]}{more} gone there; lapsekit publish sends what is missing"
        yield Finding("publishing", WRONG, told)
    else:
        told = f"{place} answers, and holds every file that was put there, by name"
        yield Finding("publishing", FINE, told)


def _gone(place: Place) -> list[str]:
    """Files that were put there, by the list that lies there, and are there no more."""
    content = place.read(MANIFEST)
    if content is None:
        return [MANIFEST]
    files, _ = unpacked(content, str(place))
    there = place.sizes(list(files))
    return [name for name in files if name not in there]


def copies_place(look: Look) -> Iterator[Finding]:
    """Whether the place of copies answers, by today's settings."""
    season = look.season
    if season.settings.copies.to is None:
        return
    try:
        place = open_place(season.settings.copies, season.folder)
        found = place.top()
    except LapsekitError as error:
        yield Finding("place of copies", WRONG, str(error))
        return
    if found:
        yield Finding("place of copies", FINE, f"{place} answers")
    else:
        told = f"{place} holds nothing yet; if that is a disk or a stick, is it mounted?"
        yield Finding("place of copies", WATCH, told)
