"""What the desk wrote into the season's texts, and taking it back."""

import re

from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post

_SHOWN = 60
_OWN_ADDRESS = re.compile(r"/(?![/\\])[\w/.,~%=&?+:-]*")
"""An address of the desk: a form could be made to lead elsewhere."""


def _page(asked: Asked) -> Response:
    return asked.page("changes.html", changes=asked.desk.book.changes(_SHOWN))


def _undo(asked: Asked) -> Response:
    change = asked.desk.book.undo(asked.text("change") or None)
    back = asked.text("back")
    return asked.changed(change, back if _OWN_ADDRESS.fullmatch(back) else "/changes/")


ROUTES = (get("/changes/", _page), post("/changes/undo", _undo))
