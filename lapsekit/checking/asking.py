"""Each camera is asked for a picture, which is not kept."""

from collections.abc import Iterator

from lapsekit.cameras import open_camera
from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.errors import LapsekitError, LeftOut, NothingNew, PictureError
from lapsekit.frames.inspection import inspect


def cameras(look: Look) -> Iterator[Finding]:
    """Whether every camera gives a picture, of the size that its frames have."""
    for name, model in look.season.settings.cameras.items():
        if model.kind != "files":
            yield _asked(look, name, model)


def _asked(look: Look, name: str, model) -> Finding:
    what, season = f"camera {name}", look.season
    try:
        camera = open_camera(name, model, season.folder, season.zone)
        shot = camera.take(season.clock())
        facts = inspect(shot.data)
    except PictureError as error:
        return Finding(what, WRONG, f"gave no usable picture: {error}")
    except LeftOut as error:
        return Finding(what, WATCH, f"answers; {error}")
    except NothingNew as error:
        return Finding(what, FINE, f"answers; {error}")
    except LapsekitError as error:
        return Finding(what, WRONG, str(error))
    size = f"{facts.width} × {facts.height} px"
    known = season.catalogue.picture_sizes(name)
    if known and (facts.width, facts.height) != known[0][:2]:
        before = f"{known[0][0]} × {known[0][1]} px"
        told = f"gives {size}, its first frames were {before}: scale and outlines do not fit"
        return Finding(what, WATCH, told)
    if shot.notes:
        return Finding(what, WATCH, f"gave a picture of {size}, but {'; '.join(shot.notes)}")
    return Finding(what, FINE, f"gave a picture of {size}")
