"""Puts the upload page together: its few pages, the guard before them."""

import time
from http import HTTPStatus
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from lapsekit.errors import SettingsError
from lapsekit.receive import sending, taking_back
from lapsekit.receive.office import Office
from lapsekit.web.guard import Guard, Refused, Rules
from lapsekit.web.reach import Reach
from lapsekit.web.signed import SignedSessions
from lapsekit.web.static import static_route
from lapsekit.when import Clock, system_clock

COOKIE = "lapsekit-pictures"
_SMALL_FORM = 64_000
_STATIC = Path(__file__).parent / "static"
_BODY_TIME_S = 300.0


def make_app(folder: Path, reach: Reach, *, clock: Clock = system_clock) -> Guard:
    """The upload page of a season, as an ASGI application.

    Parameters
    ----------
    folder : pathlib.Path
        A season folder.
    reach : Reach
    clock : Clock
        The season's.

    Raises
    ------
    SettingsError
        If season.toml does not say whom followers can turn to.
    """
    office = Office(folder, clock)
    routes = [*sending.ROUTES, *taking_back.ROUTES, static_route(_STATIC)]
    app = Starlette(routes=routes, exception_handlers={HTTPException: _not_there, 500: _fault})
    app.router.redirect_slashes = False
    app.state.office = office

    def largest_body(path: str) -> int:
        largest = office.season.settings.followers.page.largest_mb * 1_000_000
        return largest + _SMALL_FORM if path == "/send" else _SMALL_FORM

    rules = Rules(
        hosts=reach.hosts,
        is_secure=reach.is_secure,
        cookie=reach.cookie(COOKIE),
        largest_body=largest_body,
        body_time_s=_BODY_TIME_S,
        proxies=reach.proxies,
        opened_signed_in=False,
        unsigned=("/",),
        refusal_page=lambda refused: _told(office, _why(office, refused)),
    )
    return Guard(app, rules, SignedSessions(time.time))


def require_private(host_is_loopback: bool, reach: Reach) -> None:
    """Refuse to take other people's pictures and addresses in the clear.

    Raises
    ------
    SettingsError
        Says what is missing.
    """
    if not host_is_loopback and not reach.is_secure:
        raise SettingsError(
            "pictures, addresses and codes would cross the network for all to read: give "
            "--certificate and --key, or let a proxy speak TLS and name it with --behind (config/ "
            "has snippets)"
        )


def _told(office: Office, why: str) -> str:
    return office.rendered("refused.html", why=why)


def _why(office: Office, refused: Refused) -> str:
    """A refusal of the guard's, in the season's language."""
    text = office.words.text
    largest = office.season.settings.followers.page.largest_mb
    return {
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE: text(
            "These pictures have more than {mb} MB together. Please send fewer at once, or smaller "
            "ones.",
            mb=largest,
        ),
        HTTPStatus.REQUEST_TIMEOUT: text(
            "The pictures took too long to arrive. Please send fewer at once, or smaller ones."
        ),
        HTTPStatus.TOO_MANY_REQUESTS: text("Too many requests. Please wait some seconds."),
        HTTPStatus.FORBIDDEN: text(
            "This page is too old, or its cookie was not kept. Please open it again, and send the "
            "pictures once more."
        ),
    }.get(refused.status, str(refused))


async def _not_there(request: Request, error: HTTPException) -> Response:
    office: Office = request.app.state.office
    words = office.words
    if error.status_code == HTTPStatus.NOT_FOUND:
        why = words.text("There is no such page.")
    else:
        why = words.text("That could not be read. Please open the page again.")
    return HTMLResponse(_told(office, why), error.status_code)


async def _fault(request: Request, error: Exception) -> Response:
    """A fault of ours: told without what went wrong inside, which is in the log."""
    office: Office = request.app.state.office
    why = office.words.text("Something went wrong here. Nothing you did; please try again later.")
    return HTMLResponse(_told(office, why), HTTPStatus.INTERNAL_SERVER_ERROR)
