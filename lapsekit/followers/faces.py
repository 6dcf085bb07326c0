"""Where faces may be in a picture, where the grower has a detector's model: proposals to blur.

OpenCV brings the detector and no model; none is fetched. What it proposes is a help and no more:
it misses faces, and nothing is blurred before somebody looked.
"""

import io
from pathlib import Path

from lapsekit.errors import FollowerError, SettingsError
from lapsekit.followers.making import sound
from lapsekit.followers.opening import Refused, answer_of, command, require_confinement
from lapsekit.followers.records import Box, read_picture
from lapsekit.season import Season


def proposed(season: Season, record_id: str) -> list[Box]:
    """Boxes around faces that the detector sees in a kept picture; none without a model.

    Raises
    ------
    SettingsError
        If ``followers.face_model`` cannot be read.
    FollowerError
        If there is no such picture, it is damaged, or the file is no model that OpenCV can use.
    """
    named = season.settings.followers.face_model
    if named is None:
        return []
    from lapsekit.followers.face_finder import ASKED, BOX, HEAD, MAGIC, MOST_FACES

    file = season.folder / Path(named).expanduser()
    model = _model(file)
    size, pixels = _pixels(season, record_id)
    asked = ASKED.pack(MAGIC, len(model), *size) + model + pixels
    run = command(require_confinement(), "face_finder")
    try:
        said = answer_of(run, asked, HEAD.size + MOST_FACES * BOX.size)
    except Refused as error:
        raise _unusable(file) from error
    if len(said) < HEAD.size:
        raise _unusable(file)
    magic, is_sound, number = HEAD.unpack(said[: HEAD.size])
    boxes = said[HEAD.size :]
    if magic != MAGIC or not is_sound or len(boxes) != number * BOX.size:
        raise _unusable(file)
    whole = (0, 0, *size)
    return [box for box in BOX.iter_unpack(boxes) if _lies_in(box, whole)]


def _pixels(season: Season, record_id: str) -> tuple[tuple[int, int], bytes]:
    """Width and height of a kept picture, and its pixels row by row, three bytes each."""
    from PIL import Image

    picture = read_picture(season, record_id)
    with sound(record_id), Image.open(io.BytesIO(picture), formats=("JPEG",)) as opened:
        return opened.size, opened.convert("RGB").tobytes()


def _model(file: Path) -> bytes:
    from lapsekit.followers.face_finder import MOST_MODEL_BYTES

    try:
        with file.open("rb") as opened:
            model = opened.read(MOST_MODEL_BYTES + 1)
    except OSError as error:
        raise SettingsError(
            f"followers.face_model {file}: cannot be read ({error.strerror}); name an ONNX file "
            "for OpenCV's FaceDetectorYN, or leave it out"
        ) from error
    if not 0 < len(model) <= MOST_MODEL_BYTES:
        raise _unusable(file)
    return model


def _unusable(file: Path) -> FollowerError:
    return FollowerError(
        f"followers.face_model {file}: OpenCV's FaceDetectorYN cannot use it, so no faces are "
        "proposed; name another ONNX file, or leave it out"
    )


def _lies_in(box: Box, whole: Box) -> bool:
    left, top, right, bottom = box
    return left < right <= whole[2] and top < bottom <= whole[3]
