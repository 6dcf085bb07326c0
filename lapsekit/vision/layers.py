"""The convolutions of a network in the open format ONNX, read without running it.

ONNX is a protocol buffer: fields of a number, a kind and a content. Only those are read that say
which steps there are, in which order, and with which weights.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lapsekit.errors import SettingsError

_GRAPH, _NODE, _TENSOR = 7, 1, 5
_INPUT, _OPERATION = 1, 4
_SHAPE, _KIND, _TENSOR_NAME, _CONTENT = 1, 2, 8, 9
_FLOATS = 1


@dataclass(frozen=True, eq=False)
class Convolution:
    """Weights of one convolution.

    Attributes
    ----------
    weights : (O, I, K, K) float32 ndarray
        From I channels to O results over K × K places.
    biases : (O,) float32 ndarray
        0 where the network has none.
    """

    weights: np.ndarray
    biases: np.ndarray


def read_layers(content: bytes) -> tuple[tuple[str, ...], list[Convolution]]:
    """Steps of a network, and its convolutions.

    Parameters
    ----------
    content : bytes
        The network in the format ONNX.

    Returns
    -------
    steps : tuple of str
        Names of all operations but constants, in the order in which they are run.
    convolutions : list of Convolution
        In the same order.

    Raises
    ------
    SettingsError
        If the content is something else, or a convolution's weights are not in it as floats.
    """
    try:
        graph = _grouped(_grouped(content)[_GRAPH][0])
        tensors = dict(_tensor(_grouped(each)) for each in graph[_TENSOR])
        nodes = [_grouped(each) for each in graph[_NODE]]
        steps = [(node[_OPERATION][0].decode(), node[_INPUT]) for node in nodes]
        found = [_convolution(names, tensors) for step, names in steps if step == "Conv"]
    except (LookupError, ValueError, TypeError, AttributeError) as error:
        raise SettingsError(
            f"canopy model: its network cannot be read ({type(error).__name__}: {error}); restore "
            "the shipped file or train it again"
        ) from error
    return tuple(step for step, _ in steps if step != "Constant"), found


def _convolution(names: list[bytes], tensors: dict[bytes, np.ndarray]) -> Convolution:
    weights = tensors[names[1]]
    biases = tensors[names[2]] if len(names) > 2 else np.zeros(len(weights), np.float32)
    return Convolution(weights, biases)


def _tensor(fields: dict[int, list]) -> tuple[bytes, np.ndarray | None]:
    """Name and numbers of a tensor; None if they are no floats."""
    if fields[_KIND] != [_FLOATS]:
        return fields[_TENSOR_NAME][0], None
    numbers = np.frombuffer(fields[_CONTENT][0], "<f4")
    return fields[_TENSOR_NAME][0], numbers.reshape(fields[_SHAPE])


def _grouped(content: bytes) -> dict[int, list]:
    found = defaultdict(list)
    for number, value in _fields(content):
        found[number].append(value)
    return found


def _fields(content: bytes) -> Iterator[tuple[int, int | bytes]]:
    """Number and value of each field."""
    at = 0
    while at < len(content):
        key, at = _whole_number(content, at)
        kind = key & 7
        if kind == 0:
            value, at = _whole_number(content, at)
        else:
            size, at = _whole_number(content, at) if kind == 2 else ({1: 8, 5: 4}[kind], at)
            value, at = content[at : at + size], at + size
        yield key >> 3, value


def _whole_number(content: bytes, at: int) -> tuple[int, int]:
    """A number of seven bits a byte, and where the next thing begins."""
    value = shift = 0
    while True:
        byte = content[at]
        at, value, shift = at + 1, value | (byte & 127) << shift, shift + 7
        if byte < 128:
            return value, at
