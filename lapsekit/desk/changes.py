"""What the desk wrote into the season's texts, and taking it back."""

from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, is_own, post

_SHOWN = 60


def _page(asked: Asked) -> Response:
    changes = asked.desk.book.changes(_SHOWN)
    return asked.page("changes.html", changes=changes, zone=asked.desk.zone())


def _undo(asked: Asked) -> Response:
    change = asked.desk.book.undo(asked.text("change") or None)
    back = asked.text("back")
    return asked.changed(change, back if is_own(back) else "/changes/")


ROUTES = (get("/changes/", _page), post("/changes/undo", _undo))
