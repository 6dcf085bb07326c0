"""One frame from a camera into the archive."""

from datetime import timedelta

from lapsekit.cameras import Camera
from lapsekit.catalogue import Frame
from lapsekit.errors import CameraError, PictureError
from lapsekit.frames.indexing import described
from lapsekit.frames.inspection import inspect
from lapsekit.season import Season

_CLOCKS_DIFFER = timedelta(minutes=10)


def capture(season: Season, name: str, camera: Camera) -> Frame:
    """Take one frame now, file it and note it in the catalogue.

    Parameters
    ----------
    season : Season
        The season; its clock says what "now" is.
    name : str
        The camera's name in season.toml.
    camera : Camera
        The camera itself.

    Returns
    -------
    Frame

    Raises
    ------
    CameraError
        If the camera gave no picture, or bytes that are none.
    ArchiveError
        If the frame could not be stored.
    CatalogueError
        If it was stored but not noted; ``lapsekit index`` notes it later.
    """
    shot = camera.take(season.clock())
    try:
        facts = inspect(shot.data)
    except PictureError as error:
        raise CameraError(f'camera "{name}" gave no usable picture: {error}') from error
    if shot.taken_at > season.clock() + _CLOCKS_DIFFER:
        kept = season.archive.set_aside(name, shot.taken_at, shot.data, facts.suffix)
        raise CameraError(
            f'camera "{name}" dated its frame {shot.taken_at:%Y-%m-%d %H:%M} UTC, later than this '
            f"machine's clock; it is kept aside as {kept.path}. Check both clocks"
        )
    kept = season.archive.store(name, shot.taken_at, shot.data, facts.suffix)
    frame = described(kept, shot.data, season.day_of, "capture")
    season.catalogue.add_frames([frame])
    return frame
