"""Whether those who are called when something is wrong can be called."""

from collections.abc import Iterator

from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.errors import LapsekitError
from lapsekit.posting import KEY, NO_ADDRESS, UNUSABLE, read_addresses
from lapsekit.trust import require_trust


def channel(look: Look) -> Iterator[Finding]:
    """Whether alerts are set up, and their addresses can be read and used."""
    season = look.season
    to_file = season.settings.alerts.to_file
    if to_file is None:
        if all(camera.kind == "files" for camera in season.settings.cameras.values()):
            return
        told = "off; set to_file under [alerts] in season.toml to be called when something is wrong"
        yield Finding("alerts", WATCH, told)
        return
    try:
        require_trust(season.folder, "send alerts")
        addresses = read_addresses(to_file, season.folder)
    except LapsekitError as error:
        yield Finding("alerts", WRONG, str(error))
        return
    unusable = [each for each in addresses if each.kind == UNUSABLE]
    if unusable:
        yield Finding("alerts", WRONG, f"{KEY} {to_file}: line {unusable[0].line} {NO_ADDRESS}")
        return
    kinds = [each.kind for each in addresses]
    number = "1 address" if len(kinds) == 1 else f"{len(kinds)} addresses"
    told = f"{number} ({', '.join(kinds)}); lapsekit alert --test sends a message to try them"
    yield Finding("alerts", FINE, told)
