"""Folders of pictures with odd names beside a small mesh, each picture true to its role: which of them is the scan's colour?

The form, its paint and its light are formulas; every picture is drawn from them on the form's own layout, so that a photo is
shaded, an albedo is not, a normal map tilts as the form does. Names are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, unit
from blender_addon.core.srgb import encode
from blender_addon.core.surface.texels import extend
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from scripts.truth.scan.charts import unwrapped

Floats = Any
SIZE = 256


@dataclass(frozen=True)
class Folder:
    """A folder to make. pictures: file name to what it holds ('photo', 'albedo', 'grey photo', 'normal', ...; with ' 2' behind
    it: of the second material's faces). right: the base picture's name for each material, None where none can be it. stated:
    material to the picture that its library names. other_mesh: another mesh lies in the folder."""

    name: str
    pictures: dict[str, str]
    right: tuple[str | None, ...]
    mesh: str = "owl.obj"
    materials: tuple[str, ...] = ("clay",)
    stated: dict[str, str] = field(default_factory=dict)
    other_mesh: str = ""


_MAPS = {"owl_thickness.png": "thickness", "owl_BentNormals.png": "bent normal", "owl_position.png": "position"}
_SERIES = {f"IMG_{2030 + number}.JPG": "holiday" for number in range(200)}
FOLDERS = (
    Folder("plain", {"owl_albedo.png": "albedo", "owl_normal.png": "normal"}, ("owl_albedo.png",)),
    Folder("only maps", _MAPS, (None,)),
    Folder("maps and colour", {**_MAPS, "owl.png": "photo"}, ("owl.png",)),
    Folder("one word", {"diffuse.png": "photo", "roughness.png": "roughness", "occlusion.png": "occlusion"}, ("diffuse.png",)),
    Folder("written together", {"owlbasecolor.jpg": "albedo", "owlthicknessmap.jpg": "thickness"}, ("owlbasecolor.jpg",)),
    Folder("no telling name", {"scan_0417.png": "photo"}, ("scan_0417.png",)),
    Folder("numbers alone", {"1.png": "normal", "2.png": "occlusion", "3.png": "photo"}, ("3.png",)),
    Folder("other languages", {"Eule_Farbe.png": "photo", "Eule_Rauheit.png": "roughness"}, ("Eule_Farbe.png",)),
    Folder("texture and map", {"texture.png": "thickness", "map.png": "photo"}, ("map.png",)),
    Folder("texture is a layout", {"owl_texture.png": "layout", "owl_map.png": "position"}, (None,)),
    Folder("one grey picture", {"owl.png": "occlusion"}, (None,)),
    Folder("one grey photo", {"owl_photo.jpg": "grey photo"}, ("owl_photo.jpg",)),
    Folder("grey photo and its occlusion", {"owl.jpg": "grey photo", "owl_2.png": "occlusion"}, ("owl.jpg",)),
    Folder("normal by mesh's name", {"normal_owl.png": "photo"}, ("normal_owl.png",), mesh="normal_owl.obj"),
    Folder("two words", {"color_chart_normal.png": "normal", "owl_normal_color.png": "photo"}, ("owl_normal_color.png",)),
    Folder("colour in other words", {"owl_specular_color.png": "roughness", "owl_emissive_color.png": "mask"}, (None,)),
    Folder("curvature in colour", {"owl_curvature.png": "curvature", "owl_tex.png": "albedo"}, ("owl_tex.png",)),
    Folder("normals in space", {"owl_colour.png": "object normal", "owl_skin.png": "albedo"}, ("owl_skin.png",)),
    Folder("mask of colours", {"owl_ids.png": "mask", "owl_a.png": "albedo", "owl_b.png": "height"}, ("owl_a.png",)),
    Folder("views of it", {"preview.png": "holiday", "owl_render.jpg": "holiday", "owl.jpg": "photo"}, ("owl.jpg",)),
    Folder("holiday", {"beach.jpg": "holiday", "me_and_owl.jpg": "holiday"}, (None,)),
    Folder("two hundred photos", dict(_SERIES), (None,)),
    Folder("two hundred and the texture", {**_SERIES, "tex_u1_v1.png": "photo"}, ("tex_u1_v1.png",)),
    Folder("library is right", {"a.png": "photo", "b.png": "albedo of fox"}, ("a.png",), stated={"clay": "a.png"}),
    Folder("library names normals", {"x.png": "normal", "y.png": "photo"}, ("y.png",), stated={"clay": "x.png"}),
    Folder("another mesh's colour", {"fox_albedo.png": "albedo of fox", "owl_albedo.png": "albedo"}, ("owl_albedo.png",),
           other_mesh="fox.obj"),
    Folder("only another mesh's colour", {"fox_albedo.png": "albedo of fox"}, (None,), other_mesh="fox.obj"),
    Folder("two materials by name", {"body_albedo.png": "albedo 1", "eyes_albedo.png": "albedo 2"},
           ("body_albedo.png", "eyes_albedo.png"), materials=("body", "eyes")),
    Folder("two materials by layout", {"t1.png": "photo 2", "t2.png": "photo 1"}, ("t2.png", "t1.png"),
           materials=("material0", "material1")),
    Folder("two materials by library", {"u.png": "photo 1", "v.png": "photo 2", "ao.png": "occlusion"}, ("u.png", "v.png"),
           materials=("m0", "m1"), stated={"m0": "u.png", "m1": "v.png"}),
)  # fmt: skip


class Form:
    """The mesh of all folders and its pictures. One material or two: a head and a body, each on a layout of its own."""

    def __init__(self) -> None:
        mesh = _figure()
        whole, _ = unwrapped(mesh, islands=24, texels=SIZE, seed=3)
        head = mesh.vertices[mesh.faces].mean(axis=1)[:, 2] > 52.0
        parts = [unwrapped(TriangleMesh(mesh.vertices, mesh.faces[rows]), islands=12, texels=SIZE, seed=4)[0]
                 for rows in (~head, head)]  # fmt: skip
        fox, _ = unwrapped(mesh, islands=31, texels=SIZE, seed=9)
        self.meshes = {1: [whole], 2: parts}
        self.surfaces = {"": _surface(whole), "1": _surface(parts[0]), "2": _surface(parts[1]), "fox": _surface(fox)}
        self._drawn: dict[str, Floats] = {}

    def picture(self, what: str) -> Floats:
        """(h, w, 3) display values 0 to 1, row 0 at v = 0, of a kind named in a `Folder`."""
        if what not in self._drawn:
            kind, _, which = what.replace(" of ", " ").rpartition(" ")
            if which not in self.surfaces:
                kind, which = what, ""
            self._drawn[what] = _holiday() if kind == "holiday" else self._on(self.surfaces[which], kind)
        return self._drawn[what]

    def _on(self, surface: TexturedSurface, kind: str) -> Floats:
        if kind == "layout":
            return _layout(surface)
        values = _KINDS[kind](surface)
        raster, mask = surface.texels.scatter(np.clip(values, 0, 1)), surface.texels.mask()
        grown = extend(raster, mask, 4)
        blank = {"normal": (0.5, 0.5, 1.0), "bent normal": (0.5, 0.5, 1.0)}.get(kind, (0.0, 0.0, 0.0))
        empty = extend(mask.astype(np.float32), mask, 4) == 0
        grown[empty] = blank
        return grown


def write(folder: Folder, form: Form, into: Path, save: Any) -> Path:
    """Write a folder's mesh, its library and its pictures; the mesh's path. save: a function of a path and (h, w, 3) values."""
    meshes = form.meshes[len(folder.materials)]
    into.mkdir(parents=True, exist_ok=True)
    lines, start, place = [f"mtllib {Path(folder.mesh).stem}.mtl"], 1, 1
    for material, mesh in zip(folder.materials, meshes, strict=True):
        lines += [f"v {x:.5f} {z:.5f} {-y:.5f}" for x, y, z in mesh.vertices.tolist()]
        lines += [f"vt {u:.6f} {v:.6f}" for u, v in mesh.uv.reshape(-1, 2).tolist()]
        lines.append(f"usemtl {material}")
        rows = mesh.faces + start
        marks = np.arange(3 * len(rows)).reshape(-1, 3) + place
        lines += [f"f {a}/{i} {b}/{j} {c}/{k}" for (a, b, c), (i, j, k) in zip(rows.tolist(), marks.tolist(), strict=True)]
        start, place = start + len(mesh.vertices), place + 3 * len(mesh.faces)
    (into / folder.mesh).write_text("\n".join(lines) + "\n")
    library = []
    for name in folder.materials:
        library += [f"newmtl {name}", *([f"map_Kd {folder.stated[name]}"] if name in folder.stated else [])]
    (into / Path(folder.mesh).with_suffix(".mtl")).write_text("\n".join(library) + "\n")
    if folder.other_mesh:
        (into / folder.other_mesh).write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    for name, what in folder.pictures.items():
        save(into / name, form.picture(what))
    return into / folder.mesh


def _figure(rows: int = 70, columns: int = 72) -> TriangleMesh:
    """A lobed body with a head, 70 mm high, open below, on the z axis."""
    part = np.linspace(0.0, 1.0, rows)
    radius = np.interp(part, [0, 0.1, 0.45, 0.7, 0.78, 0.9, 0.97, 1.0], [17, 20, 18, 8, 10, 12, 8, 0.4])
    angle = np.linspace(0, 2 * np.pi, columns, endpoint=False)
    bumps = 1 + 0.08 * np.sin(3 * angle)[None] + 0.05 * np.sin(7 * angle[None] + 18 * part[:, None])
    ring = radius[:, None] * bumps
    vertices = np.stack([ring * np.cos(angle), 0.8 * ring * np.sin(angle), np.repeat(70 * part[:, None], columns, 1)], -1)
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns), indexing="ij")
    a, b = i * columns + j, i * columns + (j + 1) % columns
    quads = np.stack([a, b, b + columns, a + columns], -1).reshape(-1, 4)
    return TriangleMesh(vertices.reshape(-1, 3), np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32))


def _surface(mesh: TriangleMesh) -> TexturedSurface:
    return read_surface(mesh, np.ones(len(mesh.faces), bool), height=SIZE, width=SIZE)


def _noise(surface: TexturedSurface, size: float, seed: int) -> Floats:
    rng = np.random.default_rng(seed)
    ways = unit(rng.standard_normal((16, 3))) * (2 * np.pi / size)
    return np.cos(surface.position @ ways.T + rng.uniform(0, 6.28, 16)).sum(axis=1) / np.sqrt(8)


def _paint(surface: TexturedSurface) -> Floats:
    share = 1 / (1 + np.exp(-6 * _noise(surface, 30, 1)))[:, None]
    colour = share * np.array([0.45, 0.26, 0.14]) + (1 - share) * np.array([0.30, 0.36, 0.42])
    return colour * np.exp(0.10 * _noise(surface, 4, 2) + 0.06 * _noise(surface, 1.5, 3))[:, None]


def _light(surface: TexturedSurface) -> Floats:
    lamp = unit(np.array([0.6, -0.5, 0.6]))
    return (0.35 + 0.9 * np.maximum(surface.normal @ lamp, 0) + 0.15 * surface.normal[:, 2]) * _open(surface)


def _open(surface: TexturedSurface) -> Floats:
    """Part of the sky that is seen: less in the grooves between the lobes and under the chin."""
    x, y, z = surface.position.T
    angle = np.arctan2(y / 0.8, x)
    groove = 0.5 - 0.5 * np.sin(3 * angle) + 0.25 - 0.25 * np.sin(7 * angle + 18 * z / 70)
    chin = np.exp(-(((z - 50) / 5) ** 2))
    return np.clip(1 - 0.35 * groove - 0.4 * chin, 0.1, 1)


def _camera(linear: Floats, seed: int) -> Floats:
    rng = np.random.default_rng(seed)
    return np.round(255 * encode(np.clip(linear * (1 + 0.015 * rng.standard_normal(linear.shape)), 0, 1))) / 255


def _grey(values: Floats) -> Floats:
    return np.repeat(np.round(255 * np.clip(values, 0, 1))[:, None] / 255, 3, axis=1)


def _tilts(surface: TexturedSurface, size: float, steep: float) -> Floats:
    """(n, 3) stored tangent-space normals of waves in the layout."""
    row, column = np.divmod(surface.texels.index, SIZE)
    rise = [
        steep * np.cos(2 * np.pi * (column + 0.4 * row) / size),
        0.4 * steep * np.cos(2 * np.pi * (column + 0.4 * row) / size),
    ]
    return 0.5 + 0.5 * unit(np.stack([-rise[0], -rise[1], np.ones(len(row))], axis=1))


def _mask(surface: TexturedSurface) -> Floats:
    colours = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    return colours[np.digitize(surface.position[:, 2], [25, 50])]


def _curvature(surface: TexturedSurface) -> Floats:
    bend = 6 * _noise(surface, 6, 5)
    return np.stack([np.clip(-bend, 0, 1), np.clip(1 - 0.5 * np.abs(bend), 0, 1), np.clip(bend, 0, 1)], axis=1) ** 3


_KINDS = {
    "photo": lambda s: _camera(_paint(s) * _light(s)[:, None], 1),
    "albedo": lambda s: _camera(_paint(s), 2),
    "grey photo": lambda s: _camera(0.55 * np.array([1.0, 0.99, 0.97]) * _light(s)[:, None], 3),
    "normal": lambda s: _tilts(s, 9, 0.45),
    "bent normal": lambda s: _tilts(s, 60, 0.35),
    "object normal": lambda s: 0.5 + 0.5 * s.normal,
    "position": lambda s: (s.position - s.position.min(axis=0)) / 70.0,
    "occlusion": lambda s: _grey(_open(s)),
    "thickness": lambda s: _grey(np.hypot(s.position[:, 0], s.position[:, 1]) / 22.0),
    "roughness": lambda s: _grey(0.6 + 0.08 * _noise(s, 2, 7)),
    "height": lambda s: _grey(0.5 + 0.15 * _noise(s, 3, 8)),
    "mask": _mask,
    "curvature": _curvature,
}


def _layout(surface: TexturedSurface) -> Floats:
    """The edges of the triangles as thin light lines on a dark ground."""
    near = surface.texels.weight.min(axis=1) < 0.12
    shown = np.where(near, 0.85, 0.1)
    return np.maximum(surface.texels.scatter(np.repeat(shown[:, None], 3, axis=1)), 0.1)


def _holiday() -> Floats:
    """A view of a beach: sky, sea, sand, nothing of the form."""
    rng = np.random.default_rng(5)
    high, wide = 192, 256
    up, across = np.mgrid[0:high, 0:wide] / high
    colour = np.where(
        (up > 0.6)[..., None], [0.45, 0.62, 0.85], np.where((up > 0.35)[..., None], [0.1, 0.35, 0.5], [0.8, 0.7, 0.5])
    )
    wave = 0.06 * np.sin(40 * up + 5 * np.sin(6 * across)) + 0.04 * rng.standard_normal((high, wide))
    return np.clip(colour * (1 + wave)[..., None], 0, 1)
