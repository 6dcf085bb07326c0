"""Canopy or not: the shipped model, a colour index, and what tidies the mask.

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

import cv2
import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision import indices
from lapsekit.vision.detail import WHOLE, Detail
from lapsekit.vision.edges import leaf_shares, window
from lapsekit.vision.network import Network
from lapsekit.vision.own_colours import OWN_RULES, with_own_colours
from lapsekit.vision.perceptron import CLIP, GREY_A, Perceptron
from lapsekit.vision.second_look import LOOK_RULES, SecondLook
from lapsekit.vision.trained_colours import Colours, corrected

METHODS = ("model", *indices.INDICES)
"""Ways to find canopy that ``canopy.method`` in season.toml may name."""

SPECK_PX = 8
"""Plant-coloured specks below this many pixels are noise: a 4:2:0 JPEG stores colour on a grid of
2 × 2 px, so that fewer hold one sample of colour or none for themselves. With 16, pieces of
straws were lost (rendered benches)."""

HOLE_PX = 16
"""Holes below this many pixels are closed: a glint or a vein inside a leaf, which four samples of
colour do not tell apart from it."""

BAND_PX = 3
"""On both sides of the mask's outline, pixels may be part leaf: a leaf's edge spreads over the
width of a cheap lens's blur (1 px) and of the coarser colour of a 4:2:0 JPEG (2 px)."""

BESIDE_PX = 6
"""So far around what strokes took away, what is left may be its rim: half the width of a narrow
leaf, so that a thing that they took away in patches goes as a whole."""

NO_LEAF, LEAF = -7.0, 4.0
"""Log odds of the network below and above which it alone decides on a mask: a thousand to one that
there is no leaf, fifty to one that there is, red ones among them, which no hand drew in a field."""

NETWORK = 0.05
"""Between, the network's log odds count so much beside the perceptron's, both corrected by what the
picture's own leaves and ground look like (`lapsekit.vision.own_colours`). These three numbers were
chosen on photographs of plots that neither had seen."""

FAINT = 0.10
"""Share of leaf from which a pixel counts, if pixels like it lead from it to leaf: a straw that
nowhere fills half a pixel (hysteresis; Canny 1986, IEEE TPAMI 8(6), 679-698). Specks on the way
count too, and so does ground beside a leaf of which the network is as unsure. Chosen on rendered
benches that neither judge learned from; 0.06 and 0.15 do nearly as well."""

GAP_PX = 1
"""Such pixels lead on where they touch, each made broader by this on all sides: over two pixels
that the network missed."""

FAINT_ODDS = float(np.log(FAINT / (1 - FAINT)))

COLOUR_VARIANCE, LEAST_VARIANCE = 0.1, 0.01
"""Variance of a share that colours tell, which light and dark leaves beside each other blur, and
the least of what the network expects, for which else p (1 - p) stands. Each counts by the inverse
of its variance. Chosen on rendered benches that neither judge learned from."""

UNSURE_COLOUR, FIRM = 0.3, 0.1
"""Share of a window that must be pure leaf for its colour to count more than half, and how much
above it counts whole. On the rim of a broad leaf nearly half is."""

DOUBTFUL = 0.1
"""Chance to be wrong below which the network's word is taken: one in ten. Summed over a wide
outline, lesser doubts about bare soil would outweigh what is known of a seedling in it."""


def clean(mask: np.ndarray, speck_px: int = SPECK_PX, hole_px: int = HOLE_PX) -> np.ndarray:
    """Remove specks and close pinholes.

    Parameters
    ----------
    mask : (H, W) bool ndarray
        True where canopy.
    speck_px, hole_px : int
        Least area in pixels of a patch of canopy (8-connected) and of a hole (4-connected)
        that stay.

    Returns
    -------
    (H, W) bool ndarray
        A new mask.
    """
    kept = _without_small(mask, speck_px, 8)
    return ~_without_small(~kept, hole_px, 4)


def _without_small(mask: np.ndarray, least_px: int, connectivity: int) -> np.ndarray:
    """The mask without its patches of fewer than `least_px` pixels."""
    count, labels = cv2.connectedComponentsWithAlgorithm(
        np.ascontiguousarray(mask).view(np.uint8), connectivity, cv2.CV_32S, cv2.CCL_GRANA
    )
    # Counted here: OpenCV's own statistics of places and middles take six times as long
    large = np.bincount(labels.ravel(), minlength=count) >= least_px
    large[0] = False
    return large.view(np.uint8).take(labels).view(bool)


def _rims(lost: np.ndarray, kept: np.ndarray, corrections: np.ndarray) -> np.ndarray:
    """What is left of things that strokes took away: more was lost than is kept around it, or it is
    a sliver.
    """
    if not lost.any():
        return np.zeros_like(lost)
    size = (2 * BESIDE_PX + 1,) * 2
    gone, around = (cv2.blur(part.astype(np.float32), size) for part in (lost, kept))
    return (gone > around) | _slivers(lost, kept, corrections)


def _slivers(lost: np.ndarray, kept: np.ndarray, corrections: np.ndarray) -> np.ndarray:
    """Patches that lie wholly along what was lost and against which strokes speak."""
    near = cv2.dilate(lost.view(np.uint8), window(BESIDE_PX)).ravel()
    count, labels = cv2.connectedComponentsWithAlgorithm(
        kept.view(np.uint8), 8, cv2.CV_32S, cv2.CCL_GRANA
    )
    beyond = np.bincount(labels.ravel(), near == 0, count)
    spoken = np.bincount(labels.ravel(), corrections.ravel(), count)
    return kept & ((beyond == 0) & (spoken < 0))[labels]


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
        """First 16 hexadecimal digits of the SHA-256 of everything that shapes a mask."""
        rules = [SPECK_PX, HOLE_PX, BAND_PX, BESIDE_PX]
        rules += [NO_LEAF, LEAF, NETWORK, CLIP, GREY_A, FAINT, UNSURE_COLOUR, FIRM, DOUBTFUL]
        rules += [COLOUR_VARIANCE, LEAST_VARIANCE, GAP_PX]
        judges = self.perceptron.as_plain(), self.second_look.as_plain()
        numbers = [self.threshold, *judges, rules, OWN_RULES, LOOK_RULES]
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

    def mask(
        self, picture: np.ndarray, colours: Colours | None = None, detail: Detail = WHOLE
    ) -> np.ndarray:
        """Where there is more canopy than the model's threshold, cleaned.

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
        return clean(_judged(picture, drawn, colours, self.least_odds)[0])

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
            it. Within `BAND_PX` of its outline it is what the pure colours on both sides say (see
            `lapsekit.vision.edges`) and what the network expects, weighed by how sure each is: the
            surer the network, and the less pure colour a narrow leaf shows, the less count colours.
            Beyond that band too the network is heard, where leaves that are nowhere as broad as
            half a pixel reach out (`FAINT`).

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        return self.cover_and_doubt(picture, colours, detail)[0]

    def cover_and_doubt(
        self, picture: np.ndarray, colours: Colours | None = None, detail: Detail = WHOLE
    ) -> tuple[np.ndarray, np.ndarray]:
        """`cover`, and beside it how much of each pixel is in doubt.

        Returns
        -------
        cover, doubt : (H, W) float32 ndarray
            The doubt, 0 to 0.5, is the share that the network expects to be wrong if it had to
            call the pixel leaf or ground; 0 below `DOUBTFUL`.
        """
        found, odds = _cover_and_odds(picture, self.odds(picture, detail), colours)
        doubt = np.zeros(odds.shape, np.float32)
        places = np.flatnonzero(np.abs(odds) <= np.log(1 / DOUBTFUL - 1))
        doubt.ravel()[places] = shares_of(-np.abs(odds.ravel()[places]))
        return found, doubt


def cover_by_odds(
    picture: np.ndarray, odds: np.ndarray, colours: Colours | None = None
) -> np.ndarray:
    """`CanopyModel.cover` of a picture whose log odds are known already.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    odds : (H, W) float32 ndarray
        What `CanopyModel.odds` says of it.
    colours : TrainedColours or ZonedColours, optional
        What the grower taught.

    Returns
    -------
    (H, W) float32 ndarray
    """
    return _cover_and_odds(picture, odds, colours)[0]


def _cover_and_odds(picture, odds, colours) -> tuple[np.ndarray, np.ndarray]:
    """Cover, and the log odds with what the grower taught."""
    judged, odds, gone = _judged(picture, odds, colours, 0)
    mask, near = clean(judged).view(np.uint8), window(BAND_PX)
    grown = cv2.dilate(mask, near)
    band = grown != cv2.erode(mask, near)
    found = mask.astype(np.float32)
    closed = np.flatnonzero((mask > 0) & ~judged & ~band)
    found.ravel()[closed] = shares_of(odds.ravel()[closed])
    places = np.flatnonzero(band)
    if len(places):
        found.ravel()[places] = _shares_along(picture, mask, odds, places)
        likely = odds > FAINT_ODDS
        if gone is not None:
            likely &= ~gone
        faint = _faint(likely, mask, grown, places)
        found.ravel()[faint] = shares_of(odds.ravel()[faint])
    return found, odds


def _faint(likely, mask, grown, along) -> np.ndarray:
    """Flat indices beyond the outline's band that likely pixels join (8-connected) to the mask.

    The way may lead through the band, whose flat indices are `along`, and over gaps (`GAP_PX`).
    """
    beyond = np.flatnonzero(likely & (grown == 0))
    if not len(beyond):
        return beyond
    count, labels = cv2.connectedComponentsWithAlgorithm(
        cv2.dilate(likely.view(np.uint8) | mask, window(GAP_PX)), 8, cv2.CV_32S, cv2.CCL_GRANA
    )
    joined = np.zeros(count, bool)
    joined[labels.ravel()[along[mask.ravel()[along] > 0]]] = True
    return beyond[joined[labels.ravel()[beyond]]]


def _judged(picture, odds, colours, least):
    """The mask before cleaning, the log odds as the grower corrects them, and what is left of
    things that strokes took away; the last is None without strokes.
    """
    mask = odds > least
    if colours is None:
        return mask, odds, None
    corrections = colours.corrections(picture)
    told = corrected(odds, corrections)
    taught = told > least
    lost = cv2.morphologyEx((mask & ~taught).view(np.uint8), cv2.MORPH_OPEN, window(1)).view(bool)
    rims = _rims(lost, taught, corrections)
    return taught & ~rims, told, rims


def shares_of(odds: np.ndarray) -> np.ndarray:
    """Shares, 0 to 1, of log odds."""
    # tanh cannot overflow, whatever the odds
    return 0.5 + 0.5 * np.tanh(odds / 2)


def _shares_along(picture, mask, odds, places) -> np.ndarray:
    """Shares of leaf along the outline, by the colours on both sides and the network."""
    colours, expected = leaf_shares(picture, mask, places), shares_of(odds.ravel()[places])
    trust = 0.5 + 0.5 * np.clip((colours.purity - UNSURE_COLOUR) / FIRM, 0, 1)
    by_colour = np.where(colours.known, trust / COLOUR_VARIANCE, 0)
    by_network = 1 / (expected * (1 - expected) + LEAST_VARIANCE)
    return (by_network * expected + by_colour * colours.leaf) / (by_network + by_colour)


def classify(
    picture: np.ndarray,
    method: str,
    model: CanopyModel | None = None,
    colours: Colours | None = None,
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
    colours : TrainedColours or ZonedColours, optional
        What the grower taught; used by "model" only.
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
    return _known(method, model).mask(picture, colours, detail)


def cover_and_doubt(
    picture: np.ndarray,
    method: str,
    model: CanopyModel | None = None,
    colours: Colours | None = None,
    detail: Detail = WHOLE,
) -> tuple[np.ndarray, np.ndarray]:
    """How much of each pixel is canopy (sum it for an area), and how much of it is in doubt.

    Parameters and errors as for `classify`.

    Returns
    -------
    cover, doubt : (H, W) float32 ndarray
        0 to 1 and 0 to 0.5. The indices know neither parts of pixels nor doubts: 0 or 1, and 0.
    """
    if method in indices.INDICES:
        found = classify(picture, method).astype(np.float32)
        return found, np.zeros_like(found)
    return _known(method, model).cover_and_doubt(picture, colours, detail)


def _known(method: str, model: CanopyModel | None) -> CanopyModel:
    if method != "model":
        raise SettingsError(f'canopy.method is "{method}": use one of {", ".join(METHODS)}')
    if model is None:
        raise SettingsError('canopy.method is "model", but no model was given: read its file first')
    return model
