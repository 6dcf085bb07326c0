"""What the desk wrote into the season's texts, and taking it back."""

import re

from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post

_SHOWN = 60
_OWN = re.compile(r"/(?:[a-z0-9-][^\s\\]*)?")


def _page(asked: Asked) -> Response:
    return asked.page("changes.html", changes=asked.desk.book.changes(_SHOWN))


def _undo(asked: Asked) -> Response:
    change = asked.desk.book.undo(asked.text("change") or None)
    back = asked.text("back")
    return asked.changed(change, back if _is_own(back) else "/changes/")


def _is_own(address: str) -> bool:
    """Whether an address is a page of this desk, and no other server's."""
    return bool(_OWN.fullmatch(address))


ROUTES = (get("/changes/", _page), post("/changes/undo", _undo))
