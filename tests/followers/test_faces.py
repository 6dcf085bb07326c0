"""A detector's model, where there is one, proposes what to blur, in a confined process."""

import numpy as np
import pytest
from PIL import Image

from lapsekit.errors import FollowerError, SettingsError
from lapsekit.followers.faces import proposed
from lapsekit.followers.receiving import take_in
from tests.followers.arriving import arrival, encoded, followed

onnx = pytest.importorskip("onnx")


def bright_spots_model():
    """A "detector" of the right form, with weights that we know: it sees faces in bright cells."""
    from onnx import TensorProto, helper

    nodes, outputs = [], []
    zero = helper.make_tensor("zero", TensorProto.FLOAT, [1], [0.0])
    share = helper.make_tensor("share", TensorProto.FLOAT, [1], [1 / 255])
    column = helper.make_tensor("column", TensorProto.INT64, [3], [1, -1, 1])
    pick = helper.make_tensor("pick", TensorProto.FLOAT, [1, 3, 1, 1], [1.0, 0.0, 0.0])
    nodes.append(helper.make_node("Conv", ["input", "pick"], ["blue"]))
    for step in (8, 16, 32):
        cells, flat = f"cells{step}", f"flat{step}"
        pool = {"kernel_shape": [step, step], "strides": [step, step]}
        nodes.append(helper.make_node("AveragePool", ["blue"], [cells], **pool))
        nodes.append(helper.make_node("Reshape", [cells, "column"], [flat]))
        scale = "share" if step == 8 else "zero"
        nodes.append(helper.make_node("Mul", [flat, scale], [f"cls_{step}"]))
        nodes.append(helper.make_node("Mul", [flat, scale], [f"obj_{step}"]))
        nodes.append(helper.make_node("Mul", [flat, "zero"], [f"none{step}"]))
        for name, wide in (("bbox", 4), ("kps", 10)):
            parts = [f"none{step}"] * wide
            nodes.append(helper.make_node("Concat", parts, [f"{name}_{step}"], axis=2))
        outputs += [
            (f"{name}_{step}", n)
            for name, n in zip(("cls", "obj", "bbox", "kps"), (1, 1, 4, 10), strict=True)
        ]
    given = helper.make_tensor_value_info("input", TensorProto.FLOAT, [1, 3, "h", "w"])
    told = [
        helper.make_tensor_value_info(name, TensorProto.FLOAT, [1, "n", wide])
        for name, wide in outputs
    ]
    graph = helper.make_graph(nodes, "spots", [given], told, [zero, share, column, pick])
    made = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], ir_version=8)
    return made.SerializeToString()


@pytest.fixture
def bench(tmp_path):
    season, _ = followed(tmp_path / "bench", 'face_model = "spots.onnx"\n')
    (season.folder / "spots.onnx").write_bytes(bright_spots_model())
    return season


def spotted(*spots):
    picture = np.full((256, 320, 3), 30, np.uint8)
    for left, top in spots:
        picture[top : top + 8, left : left + 8] = 255
    return encoded(Image.fromarray(picture), "PNG")


def test_boxes_are_proposed_where_the_detector_sees_something(bench):
    waits = take_in(bench, arrival(data=spotted((64, 96), (240, 40))))
    middles = [((b[0] + b[2]) / 2, (b[1] + b[3]) / 2) for b in proposed(bench, waits.id)]
    for spot in ((64, 96), (240, 40)):
        assert min(abs(x - spot[0]) + abs(y - spot[1]) for x, y in middles) <= 12
    assert len(middles) == 2


def test_nothing_is_proposed_where_it_sees_nothing_or_there_is_no_model(bench, tmp_path):
    waits = take_in(bench, arrival(data=spotted()))
    assert proposed(bench, waits.id) == []
    plain, _ = followed(tmp_path / "plain")
    assert proposed(plain, take_in(plain, arrival()).id) == []


def test_a_file_that_is_no_model_is_told_and_crashes_nothing(bench):
    waits = take_in(bench, arrival())
    for content in (b"", b"no model", bright_spots_model()[:200]):
        (bench.folder / "spots.onnx").write_bytes(content)
        with pytest.raises(FollowerError, match="face_model"):
            proposed(bench, waits.id)
    (bench.folder / "spots.onnx").unlink()
    with pytest.raises(SettingsError, match="cannot be read"):
        proposed(bench, waits.id)


def test_a_damaged_picture_is_told_as_such_and_its_faces_are_not_looked_for(bench):
    waits = take_in(bench, arrival(data=spotted((64, 96))))
    (kept,) = bench.folder.glob(f"followers/*/{waits.id}/picture.jpg")
    whole = kept.read_bytes()
    for damaged in (b"", b"no picture", whole[: len(whole) // 3]):
        kept.write_bytes(damaged)
        with pytest.raises(FollowerError, match=f"{waits.id}: its picture.jpg is damaged"):
            proposed(bench, waits.id)
