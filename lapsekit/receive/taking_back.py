"""The page where a code takes its picture down."""

from http import HTTPStatus
from math import ceil

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from lapsekit.errors import FollowerError, SeasonBusy
from lapsekit.followers.deciding import take_down
from lapsekit.receive.office import Office


async def show_form(request: Request) -> Response:
    """Asks for a code."""
    return HTMLResponse(await run_in_threadpool(_page, request, "", False))


async def take_back(request: Request) -> Response:
    """A code that somebody typed."""
    form = await request.form(max_files=0, max_fields=10, max_part_size=4096)
    code = form.get("code")
    office, who = request.app.state.office, request.scope["state"]["who"]
    told = code if isinstance(code, str) else ""
    page, status = await run_in_threadpool(_answer, request, office, who, told)
    return HTMLResponse(page, status)


def _answer(request: Request, office: Office, who: str, code: str) -> tuple[str, int]:
    words = office.words
    with office.one_code_at_a_time:  # each costs 16 MB and some work, and counts before the next
        wait = ceil(office.guesses.wait_s(who))
        if wait > 0:
            told = words.counted(
                "Too many tries. Please wait {n} second, then try again.",
                "Too many tries. Please wait {n} seconds, then try again.",
                wait,
            )
            return _page(request, told, False), HTTPStatus.TOO_MANY_REQUESTS
        try:
            was_right = take_down(office.season, code) is not None
        except FollowerError:  # somebody else took it down at the same moment
            was_right = False
        except SeasonBusy:
            told = words.text("It could not be done just now. Please try again in a minute.")
            return _page(request, told, False), HTTPStatus.SERVICE_UNAVAILABLE
        office.guesses.ended(who, was_right)
    told = words.text("No picture has this code: it may be mistyped, or the picture gone already.")
    status = HTTPStatus.OK if was_right else HTTPStatus.NOT_FOUND
    return _page(request, "" if was_right else told, was_right), status


def _page(request: Request, refused: str, is_done: bool) -> str:
    token = request.scope["state"]["session"].form_token
    office: Office = request.app.state.office
    return office.rendered("take_back.html", token=token, refused=refused, is_done=is_done)


ROUTES = (Route("/take-back", show_form), Route("/take-back", take_back, methods=["POST"]))
