"""Signing in and out, where the desk has a password."""

from starlette.responses import RedirectResponse, Response

from lapsekit.desk.asking import Asked, get, post


def _page(asked: Asked) -> Response:
    if asked.session.is_signed_in:
        return RedirectResponse("/", status_code=303)
    return asked.page("sign_in.html", was_wrong=False)


def _sign_in(asked: Asked) -> Response:
    if not asked.desk.gate.opens(asked.who, asked.raw("password")):
        return asked.page("sign_in.html", was_wrong=True)
    asked.sign_in()
    return RedirectResponse("/", status_code=303)


def _sign_out(asked: Asked) -> Response:
    asked.sign_out()
    return RedirectResponse("/sign-in", status_code=303)


ROUTES = (get("/sign-in", _page), post("/sign-in", _sign_in), post("/sign-out", _sign_out))
