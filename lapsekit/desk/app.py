"""Puts the desk together: its pages, the guard before them, and the server."""

import time
from http import HTTPStatus
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute

from lapsekit.desk import (
    changes,
    colours,
    diary,
    files,
    films,
    followers,
    frames,
    growth,
    health,
    home,
    pictures,
    plants,
    proposed,
    publish,
    regions,
    setting_up,
    settings,
    signing,
    work,
)
from lapsekit.desk.asking import MOST_FILES, asked_without_form
from lapsekit.desk.desk import Desk, Entry
from lapsekit.desk.gate import Gate
from lapsekit.errors import SettingsError
from lapsekit.web.guard import Guard, Rules
from lapsekit.web.reach import Reach
from lapsekit.web.sessions import Sessions
from lapsekit.when import Clock, system_clock

MENU = (
    Entry("/", "Today", is_daily=True),
    Entry("/diary/", "Diary", is_daily=True),
    Entry("/frames/", "Frames", is_daily=True),
    Entry("/followers/", "Followers", is_daily=True),
    Entry("/regions/", "Regions"),
    Entry("/colours/", "Colours"),
    Entry("/growth/", "Growth"),
    Entry("/films/", "Films"),
    Entry("/publish/", "Publish"),
    Entry("/health/", "Health"),
    Entry("/settings/", "Settings"),
    Entry("/setup/", "Setting up"),
    Entry("/changes/", "Changes"),
)
"""The list of pages, in this order."""

PARTS = (
    home,
    diary,
    frames,
    followers,
    regions,
    colours,
    growth,
    films,
    publish,
    health,
    settings,
    setting_up,
    pictures,
    plants,
    work,
    changes,
    signing,
    files,
    proposed,
)
"""Modules with ``ROUTES``."""

COOKIE = "lapsekit-desk"
UNSIGNED = ("/sign-in", "/static/")
_FORM_MB, _UPLOAD_MB = 2, 64


def make_app(folder: Path, reach: Reach, *, clock: Clock = system_clock) -> Guard:
    """The desk of a season folder, as an ASGI application.

    Parameters
    ----------
    folder : pathlib.Path
        A season folder, or one that is empty or absent: the first page founds a season then.
    reach : Reach
    clock : Clock
        The season's.
    """
    desk = Desk(folder, MENU, Gate(reach.password_hash), clock)
    routes: list[BaseRoute] = [route for part in PARTS for route in part.ROUTES]
    app = Starlette(routes=routes, exception_handlers={HTTPException: _not_there, 500: _fault})
    app.state.desk = desk
    rules = Rules(
        hosts=reach.hosts,
        is_secure=reach.is_secure,
        cookie=reach.cookie(COOKIE),
        largest_body=_largest_body,
        proxies=reach.proxies,
        opened_signed_in=reach.password_hash is None,
        unsigned=UNSIGNED,
    )
    return Guard(app, rules, Sessions(time.monotonic))


def close(app: Guard) -> None:
    """End what the pages of `make_app` started, once it answers no more."""
    app.app.state.desk.close()


def _largest_body(path: str) -> int:
    """Pictures go with the diary alone."""
    return (_UPLOAD_MB if path.endswith("/pictures") else _FORM_MB) * 1_000_000


async def _not_there(request: Request, error: HTTPException) -> Response:
    """No such page, or a request that no page takes, in the desk's own dress."""
    asked = asked_without_form(request)
    told = {"is_missing": error.status_code == HTTPStatus.NOT_FOUND, "why": ""}
    if error.status_code == HTTPStatus.BAD_REQUEST:
        told["why"] = f"Nothing of it was written. {MOST_FILES} files at most go at once."
    page = await run_in_threadpool(asked.desk.rendered, asked, "not_there.html", told)
    return HTMLResponse(page, error.status_code)


async def _fault(request: Request, error: Exception) -> Response:
    """A fault of ours: told without what went wrong inside, which is on the terminal."""
    told = (
        "That went wrong inside lapsekit. What was saved before is safe. "
        "Where the desk was started one can read what happened."
    )
    return HTMLResponse(f"<!doctype html><title>A fault</title><p>{told}", status_code=500)


def require_safe(host_is_loopback: bool, reach: Reach) -> None:
    """Refuse to open the desk to a network without a password, or in the clear.

    Raises
    ------
    SettingsError
        Says what is missing.
    """
    if host_is_loopback:
        return
    if reach.password_hash is None:
        raise SettingsError(
            "others in your network could open the desk: set a password first, with "
            "lapsekit desk --set-password"
        )
    if not reach.is_secure:
        raise SettingsError(
            "a password would cross your network for all to read: give --certificate and --key, "
            "or let a proxy speak TLS and name it with --behind (config/ has snippets)"
        )
