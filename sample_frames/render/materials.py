"""Blender materials by name (needs `bpy`): leaves, wood, pots, soil, cards, cloth."""

from __future__ import annotations

from pathlib import Path

import bpy

from .bench import to_linear
from .textures import LOOKS

# name: sRGB colour, second colour or None, scale of the mottling, roughness (1: matt)
_PLAIN = {
    "terracotta": ((170, 100, 70), (198, 146, 118), 16, 1.0),
    "plastic": ((44, 44, 46), (54, 54, 55), 20, 0.45),
    "trough": ((122, 126, 130), (104, 110, 114), 14, 0.5),
    "tray": ((38, 42, 40), (50, 53, 50), 30, 0.5),
    "label": ((226, 224, 212), (210, 208, 198), 60, 0.6),
    "grey card": ((119, 119, 119), None, 1, 1.0),
    "white card": ((224, 224, 221), None, 1, 1.0),
    "paving": ((128, 124, 118), (94, 92, 90), 9, 1.0),
    "bar": ((90, 92, 94), None, 1, 0.5),
    "cloth": ((70, 92, 124), (92, 112, 140), 40, 1.0),
    "glove": ((168, 150, 96), (188, 172, 124), 50, 1.0),
    "straw": ((196, 168, 110), (222, 200, 150), 120, 1.0),
    "petal": ((240, 178, 22), (246, 196, 40), 60, 0.6),
    "flower disc": ((66, 44, 22), (110, 78, 34), 320, 1.0),
}
_GLOSSY = {
    "pak choi": 0.36,
    "basil": 0.42,
    "chard red": 0.38,
    "chard yellow": 0.38,
    "chard pink": 0.38,
}


def _linear(colour):
    return (*to_linear(colour), 1.0)


class Materials(dict):
    """Materials made when first asked for."""

    def __init__(self, textures: Path):
        super().__init__()
        self.textures = textures

    def __missing__(self, name):
        made = bpy.data.materials.new(name)
        made.use_nodes = True
        tree = made.node_tree
        tree.nodes.clear()
        if name in LOOKS:
            shader = self._leaf(tree, name)
        elif name in ("wood", "tag"):
            shader = self._printed(tree, name)
        else:
            plain = {"soil": self._soil, "number": self._number}
            shader = plain[name](tree) if name in plain else self._plain(tree, *_PLAIN[name])
        tree.links.new(shader, tree.nodes.new("ShaderNodeOutputMaterial").inputs[0])
        self[name] = made
        return made

    def set_wetness(self, wet: float):
        """Darken and gloss the soil, 0 dry to 1 just watered."""
        nodes = self["soil"].node_tree.nodes
        nodes["tone"].outputs[0].default_value = 1.55 - 0.95 * wet
        nodes["gloss"].outputs[0].default_value = 0.05 * wet

    def _image(self, tree, name, colour=True):
        node = tree.nodes.new("ShaderNodeTexImage")
        node.image = bpy.data.images.load(str(self.textures / f"{name}.png"), check_existing=True)
        if not colour:
            node.image.colorspace_settings.name = "Non-Color"
        node.extension = "EXTEND"
        return node.outputs[0]

    def _leaf(self, tree, name):
        nodes, link = tree.nodes, tree.links.new
        tint = nodes.new("ShaderNodeAttribute")
        tint.attribute_name = "col"
        colour = nodes.new("ShaderNodeVectorMath")
        colour.operation = "MULTIPLY"
        link(self._image(tree, name), colour.inputs[0])
        link(tint.outputs["Color"], colour.inputs[1])
        bump = nodes.new("ShaderNodeBump")
        bump.inputs["Strength"].default_value, bump.inputs["Distance"].default_value = 0.55, 0.004
        link(self._image(tree, f"{name} height", False), bump.inputs["Height"])
        face = nodes.new("ShaderNodeBsdfPrincipled")
        face.inputs["Roughness"].default_value = _GLOSSY.get(name, 0.52)
        face.inputs["Specular IOR Level"].default_value = 0.34
        link(colour.outputs[0], face.inputs["Base Color"])
        link(bump.outputs[0], face.inputs["Normal"])
        through, glow = nodes.new("ShaderNodeBsdfTranslucent"), nodes.new("ShaderNodeVectorMath")
        glow.operation, glow.inputs[1].default_value = "MULTIPLY", (1.25, 1.35, 0.45)
        link(colour.outputs[0], glow.inputs[0])
        link(glow.outputs[0], through.inputs[0])
        both = nodes.new("ShaderNodeMixShader")
        both.inputs[0].default_value = 0.30
        link(face.outputs[0], both.inputs[1])
        link(through.outputs[0], both.inputs[2])
        return both.outputs[0]

    def _printed(self, tree, name):
        shader = tree.nodes.new("ShaderNodeBsdfDiffuse")
        tree.links.new(self._image(tree, name), shader.inputs["Color"])
        return shader.outputs[0]

    def _plain(self, tree, colour, other, scale, roughness):
        nodes, link = tree.nodes, tree.links.new
        matt = roughness == 1.0
        shader = nodes.new("ShaderNodeBsdfDiffuse" if matt else "ShaderNodeBsdfPrincipled")
        if not matt:
            shader.inputs["Roughness"].default_value = roughness
        shader.inputs[0].default_value = _linear(colour)
        if other:
            place, noise = nodes.new("ShaderNodeTexCoord"), nodes.new("ShaderNodeTexNoise")
            ramp = nodes.new("ShaderNodeValToRGB")
            noise.inputs["Scale"].default_value, noise.inputs["Detail"].default_value = scale, 5
            for element, at, tone in zip(
                ramp.color_ramp.elements, (0.32, 0.68), (colour, other), strict=True
            ):
                element.position, element.color = at, _linear(tone)
            link(place.outputs["Object"], noise.inputs["Vector"])
            link(noise.outputs["Fac"], ramp.inputs[0])
            link(ramp.outputs[0], shader.inputs[0])
        return shader.outputs[0]

    def _number(self, tree):
        """Glow by the body's number, for masks; the background is black only below the bench."""
        body, glow = tree.nodes.new("ShaderNodeObjectInfo"), tree.nodes.new("ShaderNodeEmission")
        tree.links.new(body.outputs["Object Index"], glow.inputs[0])
        return glow.outputs[0]

    def _soil(self, tree):
        nodes, link = tree.nodes, tree.links.new
        crumbs, tone, gloss = (nodes.new(f"ShaderNode{k}") for k in ("Attribute", "Value", "Value"))
        crumbs.attribute_name, tone.name, gloss.name = "col", "tone", "gloss"
        dark = nodes.new("ShaderNodeVectorMath")
        dark.operation = "SCALE"
        link(crumbs.outputs["Color"], dark.inputs[0])
        link(tone.outputs[0], dark.inputs["Scale"])
        matt, wet, both = (
            nodes.new(f"ShaderNode{k}") for k in ("BsdfDiffuse", "BsdfGlossy", "MixShader")
        )
        wet.inputs["Roughness"].default_value = 0.3
        link(dark.outputs[0], matt.inputs[0])
        link(gloss.outputs[0], both.inputs[0])
        link(matt.outputs[0], both.inputs[1])
        link(wet.outputs[0], both.inputs[2])
        return both.outputs[0]
