"""Canopy or not: the shipped model, or a colour index.

Areas are sums of shares: a small U-net (Ronneberger, Fischer & Brox 2015, arXiv:1505.04597) says of
every pixel how much of it is leaf. Its widest layers work at half resolution on the logarithms of
four pixels' colours, so that a change of exposure or of white balance is a constant. Pixels of
which it is not sure are looked at again (`lapsekit.vision.second_look`). A mask is another thing:
whoever draws round leaves by hand takes in every pixel with some leaf. For masks a perceptron that
learned from hands alone (`lapsekit.vision.perceptron`) is heard beside the network, and the
picture's own sure leaves and ground beside both (`lapsekit.vision.own_colours`).
All live in a text file that the caller reads; the file carries the record of the training
(``tests/train_canopy_model.py``).
"""

import base64
import hashlib
import json
import zlib
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision import indices
from lapsekit.vision.cleaning import SPECK_PX, clean
from lapsekit.vision.cover import COVER_RULES, cover_and_odds, shares_of
from lapsekit.vision.detail import WHOLE, Detail
from lapsekit.vision.fading import FADING_RULES, fainter
from lapsekit.vision.known_ground import settled
from lapsekit.vision.network import Network
from lapsekit.vision.own_colours import OWN_RULES, with_own_colours
from lapsekit.vision.perceptron import CLIP, GREY_A, Perceptron
from lapsekit.vision.second_look import LOOK_RULES, SecondLook
from lapsekit.vision.trained_colours import Colours, corrected

METHODS = ("model", *indices.INDICES)
"""Ways to find canopy that ``canopy.method`` in season.toml may name."""

NO_LEAF, LEAF = -7.0, 4.0
"""Log odds of the network below and above which it alone decides on a mask: a thousand to one that
there is no leaf, fifty to one that there is, red ones among them, which no hand drew in a field."""

NETWORK = 0.05
"""Between, the network's log odds count so much beside the perceptron's, both corrected by what the
picture's own leaves and ground look like (`lapsekit.vision.own_colours`). These three numbers were
chosen on photographs of plots that neither had seen."""

DOUBTFUL = 0.1
"""Chance to be wrong below which the network's word is taken: one in ten. Summed over a wide
outline, lesser doubts about bare soil would outweigh what is known of a seedling in it."""


@dataclass(frozen=True, eq=False, repr=False)
class CanopyModel:
    """A trained canopy classifier; see `from_json`.

    Parameters
    ----------
    network : Network
        Gives the log odds that a point within a pixel is leaf.
    second_look : SecondLook
        Moves those of pixels that are in doubt.
    perceptron : Perceptron
        Gives the log odds that a hand would draw a pixel as leaf.
    threshold : float
        Probability, by both together, above which a pixel belongs to the mask.
    record : dict
        What the file says about the model and its training; shapes no result.

    Raises
    ------
    SettingsError
        If the threshold is not between 0 and 1.
    """

    network: Network
    second_look: SecondLook
    perceptron: Perceptron
    threshold: float
    record: dict = field(default_factory=dict)

    def __post_init__(self):
        if not 0 < self.threshold < 1:
            raise SettingsError(
                f"canopy model: the threshold ({self.threshold}) must be between 0 and 1; train it "
                "again with this version of lapsekit"
            )

    @classmethod
    def from_json(cls, text: str) -> "CanopyModel":
        """Read a model from the text of its file.

        Parameters
        ----------
        text : str
            JSON as `to_json` writes it.

        Returns
        -------
        CanopyModel

        Raises
        ------
        SettingsError
            If the text is not JSON, a field is missing, or OpenCV cannot run the network.
        """
        try:
            fields = json.loads(text)
            packed = base64.b64decode("".join(fields.pop("network")), validate=True)
            content = zlib.decompress(packed)
            second_look = SecondLook.from_plain(fields.pop("second_look"))
            perceptron = Perceptron.from_plain(fields.pop("perceptron"))
            threshold = float(fields.pop("threshold"))
        except (ValueError, TypeError, KeyError, AttributeError, zlib.error) as error:
            raise SettingsError(
                f"canopy model cannot be read ({type(error).__name__}: {error}); restore the "
                "shipped file or train it again"
            ) from error
        return cls(Network(content), second_look, perceptron, threshold, fields)

    def to_json(self) -> str:
        """The model as text that `from_json` reads back exactly."""
        content = base64.b64encode(zlib.compress(self.network.content, 9)).decode("ascii")
        lines = [content[k : k + 96] for k in range(0, len(content), 96)]
        judges = {
            "perceptron": self.perceptron.as_plain(),
            "second_look": self.second_look.as_plain(),
            "network": lines,
        }
        fields = {**self.record, "threshold": self.threshold, **judges}
        return json.dumps(fields, indent=1, ensure_ascii=False) + "\n"

    @cached_property
    def mark(self) -> str:
        """First 16 hexadecimal digits of the SHA-256 of all that shapes masks and doubts."""
        rules = [SPECK_PX, NO_LEAF, LEAF, NETWORK, CLIP, GREY_A, DOUBTFUL, *COVER_RULES]
        judges = self.perceptron.as_plain(), self.second_look.as_plain()
        numbers = [self.threshold, *judges, rules, OWN_RULES, LOOK_RULES, FADING_RULES]
        content = json.dumps(numbers).encode() + self.network.content
        return hashlib.sha256(content).hexdigest()[:16]

    def odds(self, picture: np.ndarray, detail: Detail = WHOLE) -> np.ndarray:
        """Log odds of canopy at each pixel.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.
        detail : Detail
            How finely its file keeps colours.

        Returns
        -------
        (H, W) float32 ndarray
            Above 0 where more than half of the pixel is expected to be leaf.

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        return self.second_look.odds(picture, self.network.odds(picture, detail), detail)

    @property
    def least_odds(self) -> float:
        """Log odds of the threshold."""
        return float(np.log(self.threshold / (1 - self.threshold)))

    def mask(self, picture: np.ndarray, detail: Detail = WHOLE) -> np.ndarray:
        """Where there is more canopy than the model's threshold, cleaned.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.
        detail : Detail
            How finely its file keeps colours.

        Returns
        -------
        (H, W) bool ndarray

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        odds = self.odds(picture, detail)
        by_hand = self.perceptron.odds(picture) + NETWORK * odds
        by_hand = with_own_colours(by_hand, odds, picture)
        drawn = np.where((odds < NO_LEAF) | (odds > LEAF), odds, by_hand)
        return clean(drawn > self.least_odds)

    def cover(
        self, picture: np.ndarray, colours: Colours | None = None, detail: Detail = WHOLE
    ) -> np.ndarray:
        """How much of each pixel is canopy; its sum is the canopy's area in px.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.
        colours : TrainedColours or ZonedColours, optional
            What the grower taught.
        detail : Detail
            How finely its file keeps colours.

        Returns
        -------
        (H, W) float32 ndarray
            1 inside the mask, what the network expects in holes that were closed, and 0 away from
            it. Near its outline it is what the pure colours on both sides say (see
            `lapsekit.vision.edges`) and what the network expects, weighed by how sure each is: the
            surer the network, and the less pure colour a narrow leaf shows, the less count colours.
            Beyond that band too the network is heard, where leaves that are nowhere as broad as
            half a pixel reach out. `lapsekit.vision.cover` has the rules.

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        return self.cover_and_doubt(picture, colours, detail)[0]

    def cover_and_doubt(
        self,
        picture: np.ndarray,
        colours: Colours | None = None,
        detail: Detail = WHOLE,
        ground: np.ndarray | None = None,
    ) -> tuple[np.ndarray, np.ndarray]:
        """`cover`, and beside it how much of each pixel is in doubt.

        Parameters as for `cover`, and beside them `ground`: what is known to speak against leaf
        (`lapsekit.vision.known_ground.KnownGround.evidence`); the grower's word comes after it.

        Returns
        -------
        cover, doubt : (H, W) float32 ndarray
            The doubt, 0 to 0.5, is the share that the network expects to be wrong if it had to
            call the pixel leaf or ground; 0 below `DOUBTFUL`.
        """
        odds = settled(self.odds(picture, detail), ground)
        found, odds = cover_and_odds(picture, odds, colours)
        doubt = np.zeros(odds.shape, np.float32)
        places = np.flatnonzero(np.abs(odds) <= np.log(1 / DOUBTFUL - 1))
        doubt.ravel()[places] = shares_of(-np.abs(odds.ravel()[places]))
        return found, doubt

    def fading(
        self,
        picture: np.ndarray,
        colours: Colours | None = None,
        detail: Detail = WHOLE,
        ground: np.ndarray | None = None,
    ) -> tuple[np.ndarray, np.ndarray]:
        """What the network alone makes of a picture, and of one with fainter colours.

        Parameters as for `cover_and_doubt`; what is known of the ground, and what the grower
        taught, counts alike in both.

        Returns
        -------
        plain, faint : (H, W) float32 ndarray
            Shares of leaf, 0 to 1; see `lapsekit.vision.fading`.
        """
        both = [
            settled(self.network.odds(each, detail), ground) for each in (picture, fainter(picture))
        ]
        if colours is not None:
            taught = colours.corrections(picture)
            both = [corrected(odds, taught) for odds in both]
        return shares_of(both[0]), shares_of(both[1])


def classify(
    picture: np.ndarray,
    method: str,
    model: CanopyModel | None = None,
    detail: Detail = WHOLE,
) -> np.ndarray:
    """Find canopy by the method that the season's settings name.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    method : str
        "model", the trained model, or the name of an index in `lapsekit.vision.indices.INDICES`.
    model : CanopyModel, optional
        Needed for "model" only.
    detail : Detail
        How finely its file keeps colours; used by "model" only.

    Returns
    -------
    (H, W) bool ndarray
        Cleaned mask, True where canopy.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.
    SettingsError
        If the method is unknown, or "model" comes without a model.
    """
    if method in indices.INDICES:
        return clean(indices.INDICES[method].mask(picture))
    return _known(method, model).mask(picture, detail)


def cover_and_doubt(
    picture: np.ndarray,
    method: str,
    model: CanopyModel | None = None,
    colours: Colours | None = None,
    detail: Detail = WHOLE,
    ground: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """How much of each pixel is canopy (sum it for an area), and how much of it is in doubt.

    Parameters and errors as for `classify`, and beside them `colours`, what the grower taught
    (TrainedColours or ZonedColours), and `ground`, what is known to speak against leaf
    (`lapsekit.vision.known_ground.KnownGround.evidence`); both used by "model" only.

    Returns
    -------
    cover, doubt : (H, W) float32 ndarray
        0 to 1 and 0 to 0.5. The indices know neither parts of pixels nor doubts: 0 or 1, and 0.
    """
    if method in indices.INDICES:
        found = classify(picture, method).astype(np.float32)
        return found, np.zeros_like(found)
    return _known(method, model).cover_and_doubt(picture, colours, detail, ground)


def _known(method: str, model: CanopyModel | None) -> CanopyModel:
    if method != "model":
        raise SettingsError(f'canopy.method is "{method}": use one of {", ".join(METHODS)}')
    if model is None:
        raise SettingsError('canopy.method is "model", but no model was given: read its file first')
    return model
