"""The canopy network as torch trains it, and as OpenCV runs it."""

import copy
import io

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn
from torch.nn import functional
from torch.nn.utils.fusion import fuse_conv_bn_eval

from lapsekit.vision.colour import DARK

WIDTHS = (16, 32, 48, 64)
"""Channels at a half, a quarter, an eighth and a sixteenth of the picture's resolution."""

COLOURS = 16
"""Channels that the network begins with: three colours of four pixels, and four that are learned.
OpenCV has a quick way for convolutions of 16 channels, not of 12."""

TOLD = 2
"""Numbers that a picture's file tells of its colours, each a plane of its own."""

FINE = 32
"""Results at half resolution that weigh each pixel's own colour against what surrounds it."""

#: From the logarithms of red, green and blue to lightness and two differences, about 0 to 1 wide.
OPPONENT = np.float32([[1 / 3, 1 / 3, 1 / 3], [-3, 3, 0], [0, 3, -3]])
MEANS = np.float32([4.6, 0, 0.6])


class _Layer(nn.Sequential):
    """Convolution over 3 × 3, normalised over the batch, rectified."""

    def __init__(self, channels: int, results: int, stride: int = 1):
        super().__init__(
            nn.Conv2d(channels, results, 3, stride, 1, bias=False),
            nn.BatchNorm2d(results, momentum=0.02),
            nn.ReLU(),
        )


class _Colours(nn.Module):
    """Opponent colours of 2 × 2 pixels side by side, not trained, and some that are."""

    def __init__(self):
        super().__init__()
        self.learned = nn.Conv2d(3 + TOLD, COLOURS - 12, 2, 2)
        weights = np.zeros((12, 3 + TOLD, 2, 2), np.float32)
        for number in range(4):
            weights[3 * number : 3 * number + 3, :3, number // 2, number % 2] = OPPONENT
        self.register_buffer("weight", torch.from_numpy(weights))
        self.register_buffer("bias", torch.from_numpy(np.tile(-MEANS, 4)))

    def forward(self, planes):
        weights = torch.cat([self.weight, self.learned.weight])
        biases = torch.cat([self.bias, self.learned.bias])
        return functional.conv2d(planes, weights, biases, stride=2)


def _doubled(planes):
    return functional.interpolate(planes, scale_factor=2, mode="nearest")


class CanopyNetwork(nn.Module):
    """Colours and what is told of them to log odds of the four pixels of a place.

    From `planes_of` (B, 5, H, W) to (B, 4, H/2, W/2).

    A U-net (Ronneberger, Fischer & Brox 2015, arXiv:1505.04597) that begins at half resolution,
    the four pixels of a place side by side, and adds instead of joining on its way up. What it
    sees around a place then meets the four pixels' own colours once more, so that leaves as narrow
    as a pixel are told from the ground between them. Sides are multiples of 16.
    """

    def __init__(self, widths: tuple[int, ...] = WIDTHS):
        super().__init__()
        half, quarter, eighth, least = widths
        self.colours = _Colours()
        self.down_1 = _Layer(COLOURS, half)
        self.down_2 = nn.Sequential(_Layer(half, quarter, 2), _Layer(quarter, quarter))
        self.down_3 = nn.Sequential(_Layer(quarter, eighth, 2), _Layer(eighth, eighth))
        self.down_4 = nn.Sequential(_Layer(eighth, least, 2), _Layer(least, least))
        self.narrow_3 = nn.Conv2d(least, eighth, 1)
        self.narrow_2 = nn.Conv2d(eighth, quarter, 1)
        self.narrow_1 = nn.Conv2d(quarter, half, 1)
        self.up_3, self.up_2, self.up_1 = (_Layer(n, n) for n in (eighth, quarter, half))
        self.fine = nn.Conv2d(half, FINE, 1)
        self.own_colours = nn.Conv2d(COLOURS, FINE, 1, bias=False)
        self.odds = nn.Conv2d(FINE, 4, 1)

    def in_order(self) -> list[nn.Conv2d]:
        """Its convolutions in the order in which they are run."""
        down = [layer for layer in (self.down_2, self.down_3, self.down_4) for layer in layer]
        ways = [self.narrow_3, self.up_3, self.narrow_2, self.up_2, self.narrow_1, self.up_1]
        layers = [self.colours.learned, self.down_1, *down, *ways]
        layers += [self.fine, self.own_colours, self.odds]
        return [layer[0] if isinstance(layer, _Layer) else layer for layer in layers]

    def forward(self, planes):
        colours = self.colours(planes)
        half = self.down_1(colours)
        quarter = self.down_2(half)
        eighth = self.down_3(quarter)
        seen = self.up_3(eighth + _doubled(self.narrow_3(self.down_4(eighth))))
        seen = self.up_2(quarter + _doubled(self.narrow_2(seen)))
        seen = self.up_1(half + _doubled(self.narrow_1(seen)))
        return self.odds(functional.relu(self.fine(seen) + self.own_colours(colours)))


def planes_of(pictures: np.ndarray, told: np.ndarray) -> torch.Tensor:
    """Pictures (B, H, W, 3), 0 to 255, and what their files tell (B, 2), as the network takes them.

    Logarithms of the colours, and a plane for each number that is told: (B, 5, H, W).
    """
    count, height, width = pictures.shape[:3]
    found = np.empty((count, height, width, 3 + TOLD), np.float32)
    np.log(pictures.astype(np.float32) + np.float32(DARK), out=found[..., :3])
    found[..., 3:] = told[:, None, None]
    return torch.from_numpy(found.transpose(0, 3, 1, 2))


def places(cover: np.ndarray) -> torch.Tensor:
    """Covers (B, H, W) in the order of the network's results: (B, 4, H/2, W/2)."""
    count, height, width = cover.shape
    found = cover.reshape(count, height // 2, 2, width // 2, 2).transpose(0, 2, 4, 1, 3)
    return torch.from_numpy(np.ascontiguousarray(found).reshape(count, 4, height // 2, width // 2))


def _fold_norms(network: nn.Module) -> None:
    """Put each layer's normalisation into its convolution."""
    for layer in network.modules():
        if isinstance(layer, _Layer) and isinstance(layer[1], nn.BatchNorm2d):
            layer[0] = fuse_conv_bn_eval(layer[0], layer[1])
            layer[1] = nn.Identity()


def as_onnx(network: CanopyNetwork) -> bytes:
    """The trained network in the open format that OpenCV reads."""
    content = io.BytesIO()
    still = copy.deepcopy(network).to(memory_format=torch.contiguous_format).eval()
    _fold_norms(still)
    with torch.no_grad():
        for weights in still.parameters():  # as exact as 16 bits, so that the file packs well
            weights.copy_(weights.half().float())
    torch.onnx.export(
        still,
        (torch.zeros(1, 3 + TOLD, 96, 96),),
        content,
        dynamo=False,
        opset_version=13,
        input_names=["planes"],
        output_names=["odds"],
    )
    return content.getvalue()


def read_network(content: bytes) -> CanopyNetwork:
    """The network that `as_onnx` wrote, to be trained on; its norms stay in its convolutions."""
    graph = onnx.load_from_string(content).graph
    numbers = {each.name: numpy_helper.to_array(each) for each in graph.initializer}
    written = [[numbers[name] for name in n.input[1:]] for n in graph.node if n.op_type == "Conv"]
    network = CanopyNetwork().eval()
    _fold_norms(network)
    first, *others = written
    learned = [part[3 * 4 :] for part in first]  # after the opponent colours of four pixels
    with torch.no_grad():
        for layer, parts in zip(network.in_order(), [learned, *others], strict=True):
            for mine, part in zip(layer.parameters(), parts, strict=True):
                mine.copy_(torch.from_numpy(part.copy()))
    return network
