"""The command that opens the desk."""

import os
import sys
from contextlib import suppress
from typing import Annotated

import typer

from lapsekit import telling_desk
from lapsekit.cli.application import Interrupted, app, say
from lapsekit.cli.shared import (
    HERE,
    Behind,
    Certificate,
    CertificateKey,
    FurtherNames,
    Host,
    Port,
    SeasonFolder,
    require_both,
)
from lapsekit.errors import MissingExtra, SettingsError
from lapsekit.founding import require_season_or_room


@app.command()
def desk(
    season: SeasonFolder = HERE,
    host: Host = "127.0.0.1",
    port: Port = 8010,
    set_password: Annotated[
        bool, typer.Option("--set-password", help="Ask for a password, keep its hash, and end.")
    ] = False,
    certificate: Certificate = None,
    key: CertificateKey = None,
    behind: Behind = None,
    name: FurtherNames = None,
) -> None:
    """Open the desk: web pages on this machine to set a season up and to look after it."""
    try:
        from lapsekit.desk.app import Reach, close, make_app, require_safe
        from lapsekit.desk.desk import password_file
        from lapsekit.web import passwords, serving
    except ImportError as error:
        raise MissingExtra("the desk", "desk") from error

    if set_password:
        require_season_or_room(season)
        passwords.keep_password(password_file(season), _asked_password())
        say(telling_desk.password_kept(password_file(season)))
        return
    require_both(certificate, key)
    tries = 1 if behind else serving.TRIES  # the proxy asks at that very port
    with serving.bound(host, port, tries) as socket:
        found = socket.getsockname()[1]
        reach = Reach(
            hosts=serving.local_names(host, found, tuple(name or ())),
            is_secure=certificate is not None or bool(behind),
            proxies=frozenset(behind or ()),
            password_hash=passwords.kept_password(password_file(season)),
            port=found,
        )
        require_safe(serving.is_loopback(host) and not behind, reach)
        pages = make_app(season, reach)
        server = serving.server(pages, certificate, key, reach.proxies)
        try:
            with suppress(Interrupted):
                say(telling_desk.opened(season, host, found, certificate is not None, behind or []))
                serving.serve(server, socket)
        finally:
            close(pages)
    say(["the desk is closed"])


def _asked_password() -> str:
    """A password typed twice, or the first line of a pipe."""
    from getpass import getpass

    if not os.isatty(0):
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass("New password of the desk: ")
    if getpass("Once more: ") != first:
        raise SettingsError("the two were not the same; nothing was changed")
    return first
