"""Which pieces are compared, what is true of each, and what scan of it does the product get?

Three made-up pieces whose fine mesh is known (the demo's owl, dusted; a carved mask, dusted; folds, bare and painted), and two
real forms whose fine surface was measured: a coarse mesh with a normal map taken from the full scan. Of a real form the scan
is that mesh with a photo texture baked by Cycles from the true normals in a room, dusted and photographed as the others are.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.triangles import TriangleMesh, vertex_normals
from blender_addon.scene import compat, meshes
from blender_addon.scene.delivery.device import find_device
from scripts.truth import demo
from scripts.truth.light import lights
from scripts.truth.light.cycles_bake import surround
from scripts.truth.modelling.pigments import pigment
from scripts.truth.pieces.shapes import shape as make_shape
from scripts.truth.scan.camera import Camera, photographed, speckles
from scripts.truth.scan.texels import Texels, covered
from scripts.truth.scanner import CACHE, POWDER, truth_case

from .. import ROOT

REAL_HEIGHT_MM = 120.0
TEXTURE = 2048
SAMPLES = 256
"""Samples a texel of the light on a real form, so that the path tracer's noise stays below the simulated camera's."""
MADE_UP = {"mask": ("sharp", None), "folds": ("folds", "painted")}
"""Bench shape and paint (None: dusted) of the made-up pieces beside the owl."""
REAL = {"maria": ("Maria.fbx", "Maria_normals.png"), "dancinggirl": ("DancingGirl.fbx", "DancingGirl_normals.png")}
NAMES = ("owl", *MADE_UP, *REAL)
FROM_OBJ = np.array([[1.0, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
"""What Blender's importer makes of an OBJ's axes: Y up in the file, Z up in the scene."""


@dataclass(frozen=True)
class Piece:
    """A piece to compare.

    sheet: the job sheet of its scan. truth: the fine mesh in mm, with the colour layer "albedo" or, of a real form, UVs.
    to_scan: (4, 4) from the truth's mm to the coordinates that the scan has once it is imported. normal_map: the measured
    normals (tangent space, +Y) of a real form. stands: the truth includes what the piece stands on. finest_mm: the shortest
    wavelength that the truth holds.
    """

    name: str
    sheet: Path
    truth: TriangleMesh
    to_scan: Floats
    normal_map: Path | None = None
    stands: bool = False
    finest_mm: float = 0.0


class Missing(RuntimeError):
    """The files of a real form are not there; the words say where they were looked for."""


def piece(name: str, folder: Path) -> Piece:
    """A piece by its name. Writes its scan and sheet into `folder` where they are not in the project."""
    if name == "owl":
        return _owl()
    if name in MADE_UP:
        return _made_up(name, folder)
    return _real(name, folder)


def _owl() -> Piece:
    home = ROOT / "assets_demo"
    record = json.loads((home / "truth.json").read_text())
    owl, _ = demo.truths(record["seed"])
    to_scan = FROM_OBJ @ np.linalg.inv(np.array(record["scans"]["owl_dusted"]["to_truth"]))
    return Piece("owl", home / "owl.toml", dusted(owl.mesh()), to_scan)


def _made_up(name: str, folder: Path) -> Piece:
    shape, paint = MADE_UP[name]
    truth = make_shape(shape)
    mesh, key = truth.mesh(), f"{truth.digest()} {paint} {TEXTURE}"
    kept = folder / f"{name}.key"
    if not kept.is_file() or kept.read_text() != key:
        case = truth_case(shape, "window", size=TEXTURE, pigment=paint)
        _write(folder, name, case.scan, case.texture, height=float(np.ptp(truth.vertices[:, 2])))
        kept.write_text(key)
    if paint is None:
        dusted(mesh)
    else:
        mesh.colours["albedo"][:, :3] = pigment(paint, truth.vertices, 0)
    return Piece(name, folder / f"{name}.toml", mesh, np.eye(4))


def dusted(mesh: TriangleMesh) -> TriangleMesh:
    """The mesh with the colour of matting spray."""
    mesh.colours["albedo"][:, :3] = POWDER
    return mesh


def scans_folder() -> Path:
    """Where the real forms are: BOZZETTO_SCANS, by default out/scans."""
    return Path(os.environ.get("BOZZETTO_SCANS", ROOT / "out" / "scans"))


def _real(name: str, folder: Path) -> Piece:
    file, normals = REAL[name]
    home = scans_folder() / name
    if not (home / file).is_file():
        raise Missing(f"{name}: there is no {home / file}; set BOZZETTO_SCANS to the folder of the real forms")
    mesh = _read_form(home / file)
    kept = CACHE / f"likeness-{name}-{TEXTURE}-{SAMPLES}.npy"
    if not kept.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        np.save(kept, _photo(mesh, home / normals))
    sheet = _write(folder, name, mesh, np.load(kept), height=REAL_HEIGHT_MM)
    finest = 4.0 * _texel(mesh)
    return Piece(name, sheet, mesh, np.eye(4), home / normals, stands=True, finest_mm=finest)


def _read_form(path: Path) -> TriangleMesh:
    """A real form in mm, standing on z = 0, its height `REAL_HEIGHT_MM`."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.import_scene.fbx(filepath=str(path))
    item = next(candidate for candidate in bpy.context.scene.objects if candidate.type == "MESH")
    found = meshes.read_mesh(item)
    points = found.vertices.astype(float)
    points = (points - 0.5 * (points.min(axis=0) + points.max(axis=0))) * (REAL_HEIGHT_MM / np.ptp(points[:, 2]))
    points[:, 2] -= points[:, 2].min()
    return TriangleMesh(points, found.faces, found.uv)


def _texel(mesh: TriangleMesh) -> float:
    """Edge of a texel, mm."""
    a, b, c = (mesh.uv[:, k] for k in range(3))
    flat = 0.5 * np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).sum()
    p, q, r = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    return float(np.sqrt(0.5 * np.linalg.norm(np.cross(q - p, r - p), axis=1).sum() / flat) / TEXTURE)


def _photo(mesh: TriangleMesh, normals: Path) -> Any:
    """(TEXTURE, TEXTURE, 3) uint8 photo texture of the dusted form in a room with a window, row 0 at v = 0."""
    place, face, weights = covered(mesh, TEXTURE)
    mixed = lambda values: (values[mesh.faces[face]] * weights[..., None]).sum(axis=1)  # noqa: E731
    normal = mixed(vertex_normals(mesh.vertices, mesh.faces))
    none = np.full(len(place), -1)
    part = Texels(TEXTURE, place, face, weights, mixed(mesh.vertices), normal, none, weights, np.zeros(len(place)))
    light = _baked(mesh, normals).reshape(-1, 3)[place].astype(float)
    camera, texel = Camera(), _texel(mesh)
    dots = speckles(part, camera.speckle, np.random.default_rng(55), texel_area=texel**2)
    return photographed(light * POWDER * dots[:, None], part, camera, mm_a_texel=texel, seed=7)


def _baked(mesh: TriangleMesh, normals: Path, samples: int = SAMPLES) -> Floats:
    """(TEXTURE, TEXTURE, 3) light on the form with its measured normals, on a table in a room with a window, by Cycles."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.use_denoising, scene.cycles.seed = samples, False, 1
    scene.cycles.device = find_device("auto").setting
    scene.cycles.max_bounces = scene.cycles.diffuse_bounces = 4
    item = meshes.make_object("form", mesh, materials=[_matt_with_normals(normals)])
    scene.collection.objects.link(item)
    table = np.array([[-400, -400, -0.02], [400, -400, -0.02], [400, 400, -0.02], [-400, 400, -0.02]], float)
    scene.collection.objects.link(meshes.make_object("table", TriangleMesh(table, np.array([[0, 1, 2], [0, 2, 3]]))))
    surround(scene, lights.light("window", 7))
    item.select_set(True)
    bpy.context.view_layer.objects.active = item
    bake = scene.render.bake
    bake.use_selected_to_active, bake.margin, bake.use_clear = False, 0, True
    bake.use_pass_direct, bake.use_pass_indirect, bake.use_pass_color = True, True, False
    bpy.ops.object.bake(type="DIFFUSE")
    pixels = np.zeros(TEXTURE * TEXTURE * 4, np.float32)
    bpy.data.images["light"].pixels.foreach_get(pixels)
    return pixels.reshape(TEXTURE, TEXTURE, 4)[..., :3].copy()


def _matt_with_normals(normals: Path) -> Any:
    """Powder with the measured normals, and the image that the light is baked into as its active node."""
    shade = bpy.data.materials.new("form")
    tree = compat.node_tree_of(shade)
    tree.nodes.clear()
    kinds = ("ShaderNodeTexImage", "ShaderNodeNormalMap", "ShaderNodeBsdfDiffuse", "ShaderNodeOutputMaterial")
    picture, bent, matt, out = (tree.nodes.new(kind) for kind in kinds)
    picture.image = bpy.data.images.load(str(normals))
    picture.image.colorspace_settings.name = "Non-Color"
    matt.inputs["Color"].default_value = (POWDER, POWDER, POWDER, 1.0)
    for start, end in (
        (picture.outputs["Color"], bent.inputs["Color"]), (bent.outputs["Normal"], matt.inputs["Normal"]),
        (matt.outputs["BSDF"], out.inputs["Surface"]),
    ):  # fmt: skip
        tree.links.new(start, end)
    target = tree.nodes.new("ShaderNodeTexImage")
    target.image = bpy.data.images.new("light", TEXTURE, TEXTURE, float_buffer=True, is_data=True)
    tree.nodes.active = target
    return shade


def _write(folder: Path, name: str, mesh: TriangleMesh, picture: Any, *, height: float) -> Path:
    """Scan and job sheet as a user would have them: Y up in the file, the height known."""
    folder.mkdir(parents=True, exist_ok=True)
    points = mesh.vertices @ np.linalg.inv(FROM_OBJ)[:3, :3].T
    demo.write_obj(folder, name, TriangleMesh(points, mesh.faces, mesh.uv), picture)
    lines = ["bozzetto = 1", "[[intake.scans]]", f'file = "{name}.obj"', "[orientation]", f"height = {height!r}"]
    (folder / f"{name}.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder / f"{name}.toml"
