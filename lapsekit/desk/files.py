"""The desk's own style, scripts and fonts."""

from pathlib import Path

from lapsekit.web.static import static_route

ROUTES = (static_route(Path(__file__).parent / "static"),)
