"""What cameras' reference views show bare, as a canopy model sees them."""

from collections.abc import Mapping

import numpy as np

from lapsekit.errors import LapsekitError
from lapsekit.viewing import View
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.known_ground import KnownGround


class Grounds:
    """The known ground of a season's cameras.

    Parameters
    ----------
    views : mapping of str to View
        By camera.
    model : CanopyModel or None
        None for an index, which has no doubts that ground could settle.
    """

    def __init__(self, views: Mapping[str, View], model: CanopyModel | None):
        self._views, self._model = views, model
        self._known: dict[str, KnownGround | None] = {}

    def evidence(
        self, camera: str, lit: np.ndarray, matrix: np.ndarray | None
    ) -> np.ndarray | None:
        """What speaks against leaf in a frame (see `KnownGround.evidence`).

        Parameters
        ----------
        camera : str
        lit : (H, W, 3) uint8 ndarray
            The frame in the reference frame's light.
        matrix : (3, 3) ndarray or None
            From the reference view to the frame, as measured.

        Returns
        -------
        (h, w) float32 ndarray or None
            At half the size. None where frames are taken as they are: then nobody knows what lay
            where.
        """
        known = None if matrix is None else self.of(camera)
        return None if known is None else known.evidence(lit, matrix)

    def of(self, camera: str) -> KnownGround | None:
        """What a camera's reference frame shows bare; None where frames are not held to it."""
        if camera not in self._known:
            self._known[camera] = self._seen_by(camera)
        return self._known[camera]

    def _seen_by(self, camera: str) -> KnownGround | None:
        view = self._views[camera]
        if self._model is None or not view.is_held_to:
            return None
        try:
            picture, detail = view.read(view.frame)
        except LapsekitError:
            return None
        lit = view.in_its_light(picture, np.eye(3))
        return KnownGround.of(lit, self._model.odds(lit, detail))
