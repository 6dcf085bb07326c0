"""One frame from a camera into the archive."""

from lapsekit.cameras import Camera, Shot
from lapsekit.catalogue import Frame
from lapsekit.errors import CameraError, PictureError
from lapsekit.frames.finishing import finished
from lapsekit.frames.indexing import described
from lapsekit.frames.inspection import inspect
from lapsekit.season import Season
from lapsekit.when import is_plausible


def capture(season: Season, name: str, camera: Camera) -> tuple[Frame, bool]:
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
    frame : Frame
    is_new : bool
        False if the archive had this very frame already.

    Raises
    ------
    CameraError
        If the camera gave no picture, or bytes that are none, or if privacy areas could not be
        blacked out.
    ArchiveError
        If the frame could not be stored.
    CatalogueError
        If it was stored but not noted; ``lapsekit index`` notes it later.
    """
    shot = camera.take(season.clock())
    try:
        facts = inspect(shot.data)
        data = _finished(season, name, shot)
    except PictureError as error:
        raise CameraError(f'camera "{name}" gave no usable picture: {error}') from error
    if not is_plausible(shot.taken_at, season.clock()):
        kept = season.archive.set_aside(name, shot.taken_at, data, facts.suffix)
        raise CameraError(
            f'camera "{name}" gave a frame dated {shot.taken_at:%Y-%m-%d %H:%M} UTC, which cannot '
            f"be true; it is kept aside as {kept.path}. Check the camera's and this machine's clock"
        )
    kept = season.archive.store(name, shot.taken_at, data, facts.suffix)
    frame = described(kept, data, season.day_of, "capture", facts)
    season.catalogue.add_frames([frame])
    return frame, kept.new


def _finished(season: Season, name: str, shot: Shot) -> bytes:
    """The picture as it is filed; frames that are played again were finished long ago."""
    model = season.settings.cameras[name]
    return finished(
        shot.data,
        taken_at=shot.taken_at,
        zone=season.zone,
        camera=name,
        privacy=model.privacy,
        as_it_is=model.kind in ("files", "replay"),
    )
