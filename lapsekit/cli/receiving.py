"""The command that opens the upload page."""

from contextlib import suppress
from pathlib import Path

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
from lapsekit.errors import MissingExtra


@app.command()
def receive(
    season: SeasonFolder = HERE,
    host: Host = "127.0.0.1",
    port: Port = 8020,
    behind: Behind = None,
    name: FurtherNames = None,
    certificate: Certificate = None,
    key: CertificateKey = None,
) -> None:
    """Open the page where followers send pictures, and take them back by their codes."""
    try:
        from lapsekit.receive.app import make_app, require_private
        from lapsekit.web import serving
        from lapsekit.web.reach import Reach
    except ImportError as error:
        raise MissingExtra("the upload page", "desk") from error
    from lapsekit.followers.opening import require_confinement

    require_both(certificate, key)
    require_confinement()
    with serving.bound(host, port, tries=1) as socket:
        found = socket.getsockname()[1]
        reach = Reach(
            hosts=serving.local_names(host, found, (*(name or ()), *_upload_name(season))),
            is_secure=certificate is not None or bool(behind),
            proxies=frozenset(behind or ()),
            port=found,
        )
        require_private(serving.is_loopback(host), reach)
        server = serving.server(make_app(season, reach), certificate, key, reach.proxies)
        say(telling_desk.receives(season, host, found, certificate is not None, behind or []))
        with suppress(Interrupted):
            serving.serve(server, socket)
    say(["the upload page is closed"])


def _upload_name(folder: Path) -> list[str]:
    """The name in the address that followers.upload gives out."""
    from urllib.parse import urlsplit

    from lapsekit.season import Season

    address = Season(folder).settings.followers.upload
    return [] if address is None else [urlsplit(address).netloc]
