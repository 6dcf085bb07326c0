"""What the desk wrote into the season's texts, and taking it back."""

from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post

_SHOWN = 60


def _page(asked: Asked) -> Response:
    return asked.page("changes.html", changes=asked.desk.book.changes(_SHOWN))


def _undo(asked: Asked) -> Response:
    change = asked.desk.book.undo(asked.text("change") or None)
    return asked.note(f"{change.what}.", asked.text("back") or "/changes/")


ROUTES = (get("/changes/", _page), post("/changes/undo", _undo))
