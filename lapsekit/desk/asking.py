"""What a page is asked, and how it answers: nobody else here knows Starlette's requests."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from lapsekit.errors import (
    ChangedMeanwhile,
    LapsekitError,
    MissingExtra,
    SeasonBusy,
    SettingsError,
)
from lapsekit.season import Season
from lapsekit.web.sessions import Session

if TYPE_CHECKING:
    from lapsekit.desk.desk import Desk
    from lapsekit.desk.jobs import Job
    from lapsekit.edits.book import Change

_OWN = re.compile(r"/(?:[a-z0-9-][^\s\\]*)?")
MOST_FILES = 20
_MOST_FIELDS = 2000


@dataclass(frozen=True)
class Note:
    """What a page says once at its head.

    Attributes
    ----------
    text : str
    undo : str
        The change that a button beside it takes back; "" for none.
    button : str
        What that button says.
    back : str
        Where to be afterwards.
    is_refusal : bool
    lines : tuple of str
        What it lists.
    """

    text: str
    undo: str = ""
    button: str = "Undo"
    back: str = ""
    is_refusal: bool = False
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sent:
    """A file that came with a form: what it was called, and what is in it, which may be nothing."""

    name: str
    data: bytes


@dataclass(frozen=True)
class Asked:
    """One request, read.

    Attributes
    ----------
    desk : Desk
    path : str
        Of the address, as it was asked for.
    named : mapping of str to str
        What the route's pattern holds.
    query : mapping of str to str
    form : mapping of str to list of str
        Fields of the form that was sent; empty for a GET.
    files : mapping of str to list of Sent
    session : Session
    who : str
        The address that asks.
    wants_data : bool
        Whether a script asks and takes JSON.
    etag : str
        Mark of what the browser has already.
    sign_in, sign_out : callable
        See `lapsekit.web.guard.Guard`.
    """

    desk: "Desk"
    path: str
    named: Mapping[str, str]
    query: Mapping[str, str]
    form: Mapping[str, list[str]]
    files: Mapping[str, list[Sent]]
    session: Session
    who: str
    wants_data: bool
    etag: str
    sign_in: Callable[[], Session] = field(repr=False)
    sign_out: Callable[[], None] = field(repr=False)

    def text(self, name: str, default: str = "") -> str:
        """A field, without spaces around it."""
        return (self.form.get(name) or [default])[0].strip()

    def raw(self, name: str) -> str:
        """A field as it was sent: spaces belong to a password."""
        return (self.form.get(name) or [""])[0]

    def texts(self, name: str) -> list[str]:
        """All of a field that comes several times."""
        return [each.strip() for each in self.form.get(name, [])]

    def number(self, name: str) -> float:
        """A field that is a number; refuses another."""
        told = self.text(name).replace(",", ".")
        try:
            found = float(told)
        except ValueError:
            found = float("nan")
        if not abs(found) < 1e9:
            raise SettingsError(f'{name} = "{self.text(name)}": write a number')
        return found

    def day(self, name: str, default: date | None = None) -> date:
        """A field that is a day; refuses another."""
        told = self.text(name)
        if not told and default is not None:
            return default
        try:
            return date.fromisoformat(told)
        except ValueError as error:
            raise SettingsError(f'{name} = "{told}": write a day like 2031-04-17') from error

    @contextmanager
    def season(self) -> Iterator[Season]:
        """The season as it is now, open while the page is made."""
        with self.desk.opened() as season:
            yield season

    def hint(self, tell: Callable[[Season], str]) -> str:
        """What there is to say of the season beside a change that is made.

        Nothing where the season cannot be read: a refusal would say that nothing was written.
        """
        try:
            with self.season() as season:
                return tell(season)
        except LapsekitError:
            return ""

    def page(self, template: str, **told: Any) -> Response:
        """A page."""
        return HTMLResponse(self.desk.rendered(self, template, told))

    def note(self, note: str, to: str, but: Sequence[str] = ()) -> Response:
        """Say what was done on the page that comes next; a script is told at once.

        `but` lists what was not done, and why.
        """
        if self.wants_data:
            return JSONResponse({"note": "\n".join([note, *but]), "to": to})
        self.session.notes.append(Note(note, is_refusal=bool(but), lines=tuple(but)))
        return RedirectResponse(to, status_code=303)

    def changed(self, change: "Change", to: str, more: str = "") -> Response:
        """Say what a change did and in which files, with a button that takes it back.

        `more` is a further sentence.
        """
        note = _note_of(change, to, more)
        if self.wants_data:
            facts = {"undo": note.undo, "button": note.button}
            return JSONResponse({"note": note.text, "to": to, **facts})
        self.session.notes.append(note)
        return RedirectResponse(to, status_code=303)

    def tell(self, change: "Change", back: str) -> None:
        """Say the same on whatever page comes next: more is done before there is an answer."""
        self.session.notes.append(_note_of(change, back))

    def work(
        self,
        what: str,
        words: Sequence[str],
        back: str,
        then: "Callable[[Job], int | None] | None" = None,
        first: Sequence[Sequence[str]] = (),
    ) -> Response:
        """Start one of lapsekit's commands, and follow it on a page of its own.

        Parameters are those of `lapsekit.desk.jobs.Jobs.start`.
        """
        job = self.desk.jobs.start(what, words, back, then, first)
        to = f"/jobs/{job.number}"
        return JSONResponse({"to": to}) if self.wants_data else RedirectResponse(to, 303)

    def measure(self, back: str) -> Response:
        """Start measuring, whose title is the same wherever that is asked for; see `work`."""
        return self.work("Measuring", ["measure"], back)

    def data(self, **facts: Any) -> Response:
        """Facts, for a script."""
        return JSONResponse(facts)


def _note_of(change: "Change", back: str, more: str = "") -> Note:
    told = f"{change.what} ({', '.join(change.files)})." if change.id else "That is so already."
    button = "Do it again" if change.takes_back else "Undo"
    return Note(f"{told} {more}".strip(), change.id, button, back)


Handler = Callable[[Asked], Response]


def route(path: str, handler: Handler, *, methods: tuple[str, ...] = ("GET",)) -> Route:
    """A route to a handler, which runs on a thread: it may read files and count pixels.

    Whatever it refuses (:class:`~lapsekit.errors.LapsekitError`) is told in its words, on a page or
    as JSON ``{"error": …}``. It is for what wrote nothing, and says so: what was done in part is
    told by `Asked.note`.
    """

    async def answer(request: Request) -> Response:
        asked = await _read(request)
        try:
            return await run_in_threadpool(handler, asked)
        except LapsekitError as error:
            return await run_in_threadpool(_refused, asked, error)

    return Route(path, answer, methods=list(methods), name=f"{path} {methods[0]}")


def is_own(address: str) -> bool:
    """Whether an address is a page of this desk, and no other server's."""
    return bool(_OWN.fullmatch(address))


def get(path: str, handler: Handler) -> Route:
    """A page that is read."""
    return route(path, handler)


def post(path: str, handler: Handler) -> Route:
    """A change; the guard has seen the form's token already."""
    return route(path, handler, methods=("POST",))


async def _read(request: Request) -> Asked:
    form = FormData()
    if request.method == "POST":
        form = await request.form(max_files=MOST_FILES, max_fields=_MOST_FIELDS)
    fields: dict[str, list[str]] = {}
    files: dict[str, list[Sent]] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            if value.filename:  # browsers send one without a name where none was chosen
                files.setdefault(name, []).append(Sent(value.filename, await value.read()))
        else:
            fields.setdefault(name, []).append(value)
    await form.close()
    return replace(asked_without_form(request), form=fields, files=files)


def asked_without_form(request: Request) -> Asked:
    """A request by its head alone."""
    state = request.scope["state"]
    return Asked(
        desk=request.app.state.desk,
        path=request.url.path,
        named={name: str(value) for name, value in request.path_params.items()},
        query=dict(request.query_params),
        form={},
        files={},
        session=state["session"],
        who=state["who"],
        wants_data="application/json" in request.headers.get("accept", ""),
        etag=request.headers.get("if-none-match", ""),
        sign_in=state["sign_in"],
        sign_out=state["sign_out"],
    )


def _refused(asked: Asked, error: LapsekitError) -> Response:
    status = 409 if isinstance(error, ChangedMeanwhile | SeasonBusy) else 400
    if isinstance(error, MissingExtra):
        status = 501
    if asked.wants_data:
        return JSONResponse({"error": str(error)}, status_code=status)
    told = {"lines": str(error).splitlines(), "is_late": isinstance(error, ChangedMeanwhile)}
    return HTMLResponse(asked.desk.rendered(asked, "refused.html", told), status_code=status)
