"""The form that pictures are sent by, and what becomes of them."""

import hashlib
import logging
from collections.abc import Iterator
from dataclasses import dataclass
from http import HTTPStatus

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from lapsekit.errors import LapsekitError
from lapsekit.followers.arrivals import LONGEST, Arrival, Consent
from lapsekit.followers.deciding import renew_code
from lapsekit.followers.receiving import Received, take_in
from lapsekit.plain import one_line
from lapsekit.receive.office import Office
from lapsekit.receive.told import FIELDS, Told, read_told
from lapsekit.web.sessions import Session

_log = logging.getLogger(__name__)

HOW = "ticked on the upload page"
_MORE_FILES, _MOST_FIELDS, _LONGEST_FIELD = 40, 40, 65_536


@dataclass(frozen=True)
class Outcome:
    """What became of one picture: its file's name, a code, and what there is to say besides."""

    file_name: str
    code: str | None
    why: str


async def show_form(request: Request) -> Response:
    """The empty form."""
    office, session = _place(request)
    empty = Told(dict.fromkeys(FIELDS, ""))
    return HTMLResponse(await run_in_threadpool(_form, office, session, empty))


async def send(request: Request) -> Response:
    """Pictures that came."""
    office, session = _place(request)
    who = request.scope["state"]["who"]
    async with office.slots.one(who):
        form = await request.form(
            max_files=_MORE_FILES, max_fields=_MOST_FIELDS, max_part_size=_LONGEST_FIELD
        )
        try:
            async with office.slots.work():
                return await run_in_threadpool(_take, office, session, who, form)
        finally:
            await form.close()


def _place(request: Request) -> tuple[Office, Session]:
    return request.app.state.office, request.scope["state"]["session"]


def _form(office: Office, session: Session, told: Told, refused: str = "") -> str:
    asks = office.asks()
    return office.rendered(
        "form.html",
        token=session.form_token,
        told=told.fields,
        problems=told.problems,
        refused=refused,
        asks=asks,
        longest=LONGEST,
        wording=office.wording(),
        page=office.season.settings.followers.page,
    )


def _take(office: Office, session: Session, who: str, form: FormData) -> Response:
    words = office.words
    fields = {name: value for name, value in form.multi_items() if isinstance(value, str)}
    files = [f for f in form.getlist("pictures") if isinstance(f, UploadFile) and f.size]
    told = read_told(fields, office.asks(), words)
    most = office.season.settings.followers.page.most_at_once
    if not files:
        told.problems["pictures"] = words.text("Please choose a picture.")
    elif len(files) > most:
        told.problems["pictures"] = words.counted(
            "No more than {n} picture at once, please.",
            "No more than {n} pictures at once, please.",
            most,
        )
    if told.problems:
        return HTMLResponse(_form(office, session, told), HTTPStatus.UNPROCESSABLE_ENTITY)
    if not office.has_room():
        full = words.text("There is no room for pictures just now. Please try again in some days.")
        return HTMLResponse(_form(office, session, told, full), HTTPStatus.INSUFFICIENT_STORAGE)
    if not office.allowance.takes(who, len(files)):
        enough = words.text("Enough pictures came for today. Please send yours tomorrow.")
        return HTMLResponse(_form(office, session, told, enough), HTTPStatus.TOO_MANY_REQUESTS)
    outcomes = list(_outcomes(office, session, told, files))
    codes = [each.code for each in outcomes if each.code]
    return HTMLResponse(office.rendered("sent.html", outcomes=outcomes, codes=codes))


def _outcomes(
    office: Office, session: Session, told: Told, files: list[UploadFile]
) -> Iterator[Outcome]:
    words, version = office.words, office.wording()
    for file in files:
        name = one_line(file.filename or "", 80)
        data = file.file.read()
        source = f"upload {session.form_token} {hashlib.sha256(data).hexdigest()}"
        consent = Consent(
            wording=version.version,
            language=version.language,
            agreed_at=office.clock(),
            how=HOW,
            is_adult=told.fields["age"] == "adult",
            parent=told.fields["parent"] if told.fields["age"] == "minor" else "",
        )
        arrival = Arrival(
            data=data,
            came_at=office.clock(),
            by="upload",
            source=source,
            file_name=name,
            name=told.fields["name"],
            plant=told.fields["region"] or told.fields["plant"],
            sown=told.sown,
            taken_on=told.taken,
            caption=told.fields["caption"],
            contact=told.fields["contact"],
            language=words.language,
            consent=consent,
        )
        try:
            yield _outcome(office, name, take_in(office.season, arrival))
        except (LapsekitError, OSError) as error:  # the codes of the others are still to be shown
            _log.error("a picture was not kept: %s", error)
            later = words.text("It could not be kept just now. Please send it again in a minute.")
            yield Outcome(name, None, later)


def _outcome(office: Office, name: str, received: Received) -> Outcome:
    """What is told; whoever sends the same form again may never have seen the code."""
    words = office.words
    if received.id is not None and received.is_known:
        renewed = words.text("It came before. This code takes the place of the one before.")
        return Outcome(name, renew_code(office.season, received.id), renewed)
    if received.is_known:
        return Outcome(name, None, words.text("It came before, and is not here any more."))
    return Outcome(name, received.code, received.refused or "")


ROUTES = (Route("/", show_form), Route("/send", send, methods=["POST"]), Route("/send", show_form))
