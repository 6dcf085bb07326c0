"""Signing in and out, where the desk has a password."""

from starlette.responses import RedirectResponse, Response

from lapsekit.desk.asking import Asked, get, is_own, post


def _page(asked: Asked) -> Response:
    if asked.session.is_signed_in:
        return RedirectResponse(_to(asked.query.get("to", "")), status_code=303)
    return asked.page("sign_in.html", was_wrong=False, to=asked.query.get("to", ""))


def _sign_in(asked: Asked) -> Response:
    if not asked.desk.gate.opens(asked.who, asked.raw("password")):
        return asked.page("sign_in.html", was_wrong=True, to=asked.text("to"))
    asked.sign_in()
    return RedirectResponse(_to(asked.text("to")), status_code=303)


def _to(wanted: str) -> str:
    """Where one wanted to go, if that is a page of this desk; else the first page."""
    return wanted if is_own(wanted) else "/"


def _sign_out(asked: Asked) -> Response:
    asked.sign_out()
    return RedirectResponse("/sign-in", status_code=303)


ROUTES = (get("/sign-in", _page), post("/sign-in", _sign_in), post("/sign-out", _sign_out))
