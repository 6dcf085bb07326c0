"""The bench in Blender (needs `bpy`).

`Studio.picture(frame)` gives the linear light of one moment as the camera's lens would see it.
"""

from __future__ import annotations

import os
from pathlib import Path

os.environ["OPENCV_IO_ENABLE_OPENEXR"] = "1"

import bpy
import cv2
import numpy as np
from mathutils import Matrix, Vector

from . import textures
from .bench import Thing, box, cards, container_things, slats
from .layout import CAMERA_HEIGHT_M, HEIGHT, VIEW_WIDTH_M, WIDTH, View
from .materials import Materials
from .moment import bench_at, plants_at
from .story import Frame, camera_turn, day_time
from .visitor import visitor_at
from .weather import cloud, sun, wetness

_EXACT = {
    "samples": 1,
    "use_denoising": False,
    "pixel_filter_type": "GAUSSIAN",
    "filter_width": 0.01,
}


class Studio:
    """A Blender scene that is kept between moments.

    Parameters
    ----------
    scratch : pathlib.Path
        Folder for textures and the linear picture.
    samples : int
        Light paths a pixel, before denoising.
    threads : int
    """

    def __init__(self, scratch: Path, samples: int = 12, threads: int = 1):
        textures.write_all(scratch / "textures")
        self.scratch, self._standing, self._plants = scratch, {}, {}
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.scene = bpy.context.scene
        self.materials = Materials(scratch / "textures")
        for thing in (*slats(), *cards(), *_roof()):
            self._place(thing)
        self._build_camera()
        self._build_light()
        _set_up_cycles(self.scene, samples, threads)

    def picture(self, frame: Frame) -> np.ndarray:
        """Linear light of one moment: float32 RGB, shape (720, 960, 3)."""
        self.stand(frame)
        path = self.scratch / f"light-{os.getpid()}.exr"
        self.scene.render.filepath = str(path)
        bpy.ops.render.render(write_still=True)
        light = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., 2::-1].astype(np.float32)
        path.unlink()
        return light

    def stand(self, frame: Frame):
        """Put pots, plants, visitor, camera and light where they are at that moment."""
        time = day_time(frame.moment)
        wanted = {t.name: t for pot in bench_at(time) for t in container_things(pot)}
        if frame.state == "obstructed":
            wanted |= {t.name: t for t in visitor_at(frame.moment)}
        for name in [n for n, (thing, _) in self._standing.items() if wanted.get(n) is not thing]:
            _remove(self._standing.pop(name)[1])
        for name, thing in wanted.items():
            if name not in self._standing:
                self._standing[name] = (thing, self._place(thing))
        for body in self._plants.values():
            _remove(body)
        self._plants = {}
        for number, plant in enumerate(plants_at(frame.moment), start=1):
            if plant.mesh.count:
                self._plants[plant.name] = self._place_plant(plant, number)
        self._aim(View(*camera_turn(time)))
        self._shine(frame.moment)
        self.materials.set_wetness(wetness(time))

    def mask(self, frame: Frame) -> np.ndarray:
        """Plant numbers at pixel centres by Cycles, to be compared with the rasteriser's."""
        self.stand(frame)
        path = self.scratch / f"mask-{os.getpid()}.exr"
        kept = {name: getattr(self.scene.cycles, name) for name in _EXACT}
        _set(self.scene.cycles, _EXACT)
        self.scene.view_layers[0].material_override = self.materials["number"]
        self.scene.render.filepath = str(path)
        bpy.ops.render.render(write_still=True)
        self.scene.view_layers[0].material_override = None
        _set(self.scene.cycles, kept)
        numbers = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., 2]
        path.unlink()
        return np.rint(numbers).astype(np.uint8)

    def _place(self, thing: Thing):
        mesh = bpy.data.meshes.new(thing.name)
        _fill(mesh, thing.points, thing.faces, thing.uv, thing.colour, thing.smooth)
        mesh.materials.append(self.materials[thing.material])
        body = bpy.data.objects.new(thing.name, mesh)
        if thing.bevel:
            edge = body.modifiers.new("edge", "BEVEL")
            edge.width, edge.segments = thing.bevel, 2
        self.scene.collection.objects.link(body)
        return body

    def _place_plant(self, plant, number):
        points, quads, uv, tint, names = plant.mesh.arrays()
        mesh = bpy.data.meshes.new(plant.name)
        _fill(mesh, points, quads, uv, tint, True)
        kinds, which = np.unique(names, return_inverse=True)
        for name in kinds:
            mesh.materials.append(self.materials[str(name)])
        mesh.polygons.foreach_set("material_index", which.astype(np.int32))
        body = bpy.data.objects.new(plant.name, mesh)
        body.pass_index = number
        self.scene.collection.objects.link(body)
        return body

    def _build_camera(self):
        lens = bpy.data.cameras.new("camera")
        lens.sensor_width, lens.lens = 36, 36 * CAMERA_HEIGHT_M / VIEW_WIDTH_M
        self.camera = bpy.data.objects.new("camera", lens)
        self.scene.collection.objects.link(self.camera)
        self.scene.camera = self.camera

    def _aim(self, view: View):
        self.camera.matrix_world = (
            Matrix.Translation(Vector(view.place)) @ Matrix(view.axes.tolist()).to_4x4()
        )

    def _build_light(self):
        self.sun = bpy.data.lights.new("sun", "SUN")
        self.sun_body = bpy.data.objects.new("sun", self.sun)
        self.scene.collection.objects.link(self.sun_body)
        world = bpy.data.worlds.new("sky")
        self.scene.world, world.use_nodes = world, True
        nodes, links = world.node_tree.nodes, world.node_tree.links
        nodes.clear()
        place, parts = nodes.new("ShaderNodeTexCoord"), nodes.new("ShaderNodeSeparateXYZ")
        height, self.ramp = nodes.new("ShaderNodeMapRange"), nodes.new("ShaderNodeValToRGB")
        height.inputs["From Min"].default_value = -1
        glow, out = nodes.new("ShaderNodeBackground"), nodes.new("ShaderNodeOutputWorld")
        self.ramp.color_ramp.elements.new(0.49), self.ramp.color_ramp.elements.new(0.5)
        chain = (
            (place.outputs["Generated"], parts.inputs[0]),
            (parts.outputs["Z"], height.inputs[0]),
            (height.outputs[0], self.ramp.inputs[0]),
            (self.ramp.outputs[0], glow.inputs[0]),
            (glow.outputs[0], out.inputs[0]),
        )
        for a, b in chain:
            links.new(a, b)
        world.cycles.sampling_method, world.cycles.sample_map_resolution = "MANUAL", 128

    def _shine(self, moment):
        """Sun and sky by date, hour and cloud."""
        towards, height = sun(moment)
        cover = cloud(moment)
        s = max(np.sin(height), 0.02)
        air = 1 / (s + 0.05)
        colour = np.array([1.0, np.exp(-0.055 * air) * 1.03, np.exp(-0.13 * air) * 1.08])
        self.sun_body.rotation_euler = Vector(towards).to_track_quat("Z", "Y").to_euler()
        self.sun.energy = 5.2 * np.exp(-0.17 * air) * (1 - cover) ** 1.3
        self.sun.color = tuple(colour / colour.max())
        self.sun.angle = np.deg2rad(0.6 + 25 * cover**2)
        k = 0.25 + 0.75 * s**0.7
        top = (
            np.array([0.27, 0.44, 0.78]) * 0.55 * (1 - cover)
            + np.array([0.93, 0.97, 1]) * 1.15 * cover
        )
        rim = (
            np.array([0.66, 0.75, 0.88]) * 0.8 * (1 - cover)
            + np.array([0.8, 0.86, 0.93]) * 0.62 * cover
        )
        below = np.array([0.30, 0.28, 0.26]) * (0.55 + 0.35 * (1 - cover))
        for element, glow in zip(
            self.ramp.color_ramp.elements, (below, below, rim, top), strict=True
        ):
            element.color = (*(k * glow), 1)


def _roof():
    """Glazing bars and a purlin overhead, for their shadows."""
    bars = [
        (f"bar {k}", box(x, 0, 2.35, 0.022, 3.0, 0.03)) for k, x in enumerate((-0.9, 0.25, 1.4))
    ]
    bars.append(("purlin", box(0, -0.75, 2.32, 3.0, 0.03, 0.03)))
    return tuple(Thing(name, points, faces, "bar") for name, (points, faces) in bars)


def _remove(body):
    mesh = body.data
    bpy.data.objects.remove(body)
    bpy.data.meshes.remove(mesh)


def _fill(mesh, points, faces, uv, colour, smooth):
    """Fill a Blender mesh from arrays; `uv` and `colour` are per point."""
    n, (m, k) = len(points), faces.shape
    mesh.vertices.add(n)
    mesh.vertices.foreach_set("co", np.ascontiguousarray(points, np.float32).ravel())
    mesh.loops.add(m * k)
    mesh.loops.foreach_set("vertex_index", np.ascontiguousarray(faces, np.int32).ravel())
    mesh.polygons.add(m)
    mesh.polygons.foreach_set("loop_start", np.arange(0, m * k, k, dtype=np.int32))
    mesh.polygons.foreach_set("use_smooth", np.full(m, smooth))
    if uv is not None:
        layer = mesh.uv_layers.new(name="UV")
        layer.data.foreach_set("uv", np.ascontiguousarray(uv[faces.ravel()], np.float32).ravel())
    if colour is not None:
        layer = mesh.attributes.new("col", "FLOAT_COLOR", "POINT")
        layer.data.foreach_set(
            "color", np.ascontiguousarray(np.c_[colour, np.ones(n)], np.float32).ravel()
        )
    mesh.update(calc_edges=True)


def _set(settings, values):
    for name, value in values.items():
        setattr(settings, name, value)


def _set_up_cycles(scene, samples, threads):
    render, cycles = scene.render, scene.cycles
    render.engine = "CYCLES"
    render.resolution_x, render.resolution_y, render.resolution_percentage = WIDTH, HEIGHT, 100
    render.threads_mode, render.threads, render.use_persistent_data = "FIXED", threads, True
    settings = render.image_settings
    settings.file_format, settings.color_depth, settings.exr_codec = "OPEN_EXR", "16", "ZIP"
    scene.view_settings.view_transform, render.dither_intensity = "Raw", 0.0
    cycles.device, cycles.samples, cycles.use_adaptive_sampling = "CPU", samples, False
    cycles.use_denoising, cycles.denoiser = True, "OPENIMAGEDENOISE"
    cycles.denoising_input_passes, cycles.denoising_prefilter = "RGB_ALBEDO_NORMAL", "FAST"
    cycles.denoising_quality = "FAST"
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 3, 2, 1
    cycles.transmission_bounces, cycles.transparent_max_bounces = 2, 2
    cycles.use_light_tree = cycles.caustics_reflective = cycles.caustics_refractive = False
    cycles.sample_clamp_indirect, cycles.filter_width = 4, 1.2
    cycles.pixel_filter_type, cycles.seed = "BLACKMAN_HARRIS", 1
