"""Bench cases: a scan with its texture under a known light, and for each texel what is true there. Cached by hash."""

from __future__ import annotations

import ast
import hashlib
import inspect
import os
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, face_areas, unit

from .light import lights, transport
from .light.fine_transport import FineTransport
from .modelling import fields, nets, pigments, tooling
from .pieces import engraved, more_shapes, owl, owl_form
from .pieces.shape import Shape
from .pieces.shapes import shape as make_shape
from .scan import charts, scanned, texels
from .scan.camera import Camera, blurred, photographed, speckles
from .scan.texels import Texels, covered, mixed

Floats = Any
CACHE = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "bozzetto" / "truth"
LARGER = {"engraved": engraved.LARGER}
"""By how much a shape is enlarged for the transport, which expects vertices some 0.15 apart."""
ISLANDS = {"engraved": 24}
"""Number of islands of a scan that is smaller than most: as large as those of a whole piece's."""
POWDER = 0.78
"""Linear albedo of matting spray."""


@dataclass(frozen=True)
class TruthCase:
    """One scan of a bench shape under one light, and the truth behind each texel. Rasters are (h, w, ...), row 0 at v = 0.

    scan: the scan's triangles in mm with UVs, z up. island: (m,) chart of each face. texture: (h, w, 3) uint8 sRGB.
    covered: (h, w) bool, texels in an island. known: (h, w) bool, covered texels whose truth was found (measure on these).
    face: (h, w) int32 scan face, -1 outside. scan_normal, true_normal: (h, w, 3) float32 unit, in the scan's frame.
    true_height: (h, w) float32 mm from the scan's surface to the truth's, along the scan's normal. true_albedo: (h, w, 3)
    float32 linear, without the speckle. shown_albedo: the same as sharp as the photo is: what it would show in even light.
    true_light: (h, w, 3) float32, the light that fell there (texture = albedo x light,
    before the camera's scale). border: (h, w) uint8, texels to the island's border, 1 at the border, 255 for 8 or more.
    mm_a_texel: edge of a texel. truth: the fine shape. light: the room's name; turn: degrees that the piece was turned in it.
    """

    name: str
    shape: str
    light: str
    turn: float
    scan: TriangleMesh
    island: Any
    texture: Any
    covered: Any
    known: Any
    face: Any
    scan_normal: Any
    true_normal: Any
    true_height: Any
    true_albedo: Any
    shown_albedo: Any
    true_light: Any
    border: Any
    mm_a_texel: float
    truth: Shape = field(repr=False)
    pigment: str | None = None

    @property
    def size(self) -> int:
        return self.texture.shape[0]


@dataclass(frozen=True)
class BakedShape:
    """A truth with its transport, and the truth's digest."""

    truth: Shape
    transport: transport.Transport
    digest: str


@dataclass(frozen=True)
class BakedScan:
    """A scan of a truth with its texels."""

    scan: TriangleMesh
    island: Any
    texels: Texels
    mm_a_texel: float


def truth_case(
    shape: str,
    light: str,
    *,
    size: int = 2048,
    pigment: str | None = None,
    turn: float = 0.0,
    scan_seed: int = 0,
    triangles: int = 60_000,
    camera: Camera | None = None,
    seed: int = 0,
) -> TruthCase:
    """A case made from the cache (seconds) or baked first (a minute a shape).

    pigment: None for a dusted piece, 'bare' for its own colour, or one of `pigments.NAMES`. turn: degrees that the piece is
    turned in the room (another scan of the turned piece: same frame, other light). scan_seed: another number gives another
    triangulation, noise and UVs of the same piece. seed: of the light and the camera.
    """
    body = baked_shape(shape)
    scan = baked_scan(shape, size=size, seed=scan_seed, triangles=triangles)
    room = lights.turned(lights.light(light, seed), turn)
    albedo = _albedo(body.truth, pigment, seed)
    camera = camera or Camera()
    if pigment is not None:
        camera = replace(camera, speckle=0.0, powder=0.0)
    return made_case(body, scan, room, albedo, camera, shape=shape, turn=turn, seed=seed + int(1000 * turn), pigment=pigment)


def _albedo(truth: Shape, pigment: str | None, seed: int) -> Floats:
    if pigment is None:
        return np.full((len(truth.vertices), 3), POWDER)
    return truth.albedo if pigment == "bare" else pigments.pigment(pigment, truth.vertices, seed)


def irradiance(body: BakedShape, scan: BakedScan, room: lights.Light, albedo: Floats) -> Floats:
    """(t, 3) light (irradiance over pi) that falls on the truth behind each texel; texels without truth get the scan's."""
    part = scan.texels
    corners = body.truth.faces[np.maximum(part.truth_face, 0)]
    ways = transport.directions()
    share = lights.shares(room, part.normal)
    total = np.zeros((len(part.place), 3))
    for number, radiance in enumerate(room.rooms):
        direct = body.transport.direct(radiance(ways))
        again = body.transport.bounced(direct, albedo)
        if isinstance(body.transport, FineTransport):
            light = mixed(direct + again, corners, part.truth_weights)
        else:
            again = _eased(again[_cluster_of_scan(body, scan)], scan.scan.faces)
            light = mixed(direct, corners, part.truth_weights) + mixed(again, scan.scan.faces[part.face], part.weights)
        total += share[:, number, None] * light
    return total


def _cluster_of_scan(body: BakedShape, scan: BakedScan) -> Any:
    """(n,) the truth's cluster behind each vertex of the scan, by way of a texel next to it."""
    part = scan.texels
    behind = body.transport.cluster[body.truth.faces[np.maximum(part.truth_face, 0), 0]]
    found = np.zeros(len(scan.scan.vertices), np.int64)
    found[scan.scan.faces[part.face, np.argmax(part.weights, axis=1)]] = behind
    return found


def _eased(values: Floats, faces: Any, rounds: int = 3) -> Floats:
    for _ in range(rounds):
        total, count = values.copy(), np.ones(len(values))
        for here, there in ((0, 1), (1, 2), (2, 0)):
            for a, b in ((here, there), (there, here)):
                count += np.bincount(faces[:, a], minlength=len(values))
                for k in range(values.shape[1]):
                    total[:, k] += np.bincount(faces[:, a], values[faces[:, b], k], len(values))
        values = total / count[:, None]
    return values


def made_case(
    body: BakedShape,
    scan: BakedScan,
    room: lights.Light,
    albedo: Floats,
    camera: Camera,
    *,
    shape: str,
    turn: float,
    seed: int,
    pigment: str | None = None,
) -> TruthCase:
    """A scan photographed in a room, with what is true behind each texel. albedo: (n, 3) of the truth's vertices."""
    part = scan.texels
    corners = body.truth.faces[np.maximum(part.truth_face, 0)]
    light = irradiance(body, scan, room, albedo)
    colour = mixed(albedo, corners, part.truth_weights)
    leaving = light * colour * _dusted(part, camera.speckle, camera.powder, scan.mm_a_texel, seed)[:, None]
    texture = photographed(leaving, part, camera, mm_a_texel=scan.mm_a_texel, seed=seed)
    normal = unit(mixed(body.transport.normals, corners, part.truth_weights))
    found = part.truth_face >= 0
    label = f"{shape}/{room.name}" + (f"/{pigment}" if pigment else "") + (f"/{turn:g}" if turn else "")
    inside = part.full(np.ones(len(part.place), bool), False)
    return TruthCase(
        name=label,
        shape=shape,
        light=room.name,
        turn=turn,
        scan=scan.scan,
        island=scan.island,
        texture=texture,
        covered=inside,
        known=part.full(found, False),
        face=part.full(part.face.astype(np.int32), -1),
        scan_normal=part.full(part.normal.astype(np.float32)),
        true_normal=part.full(np.where(found[:, None], normal, part.normal).astype(np.float32)),
        true_height=part.full(np.where(found, part.height, 0).astype(np.float32)),
        true_albedo=part.full(colour.astype(np.float32)),
        shown_albedo=blurred(part.full(colour.astype(np.float32)), inside, camera.blur / scan.mm_a_texel),
        true_light=part.full(light.astype(np.float32)),
        border=_border(inside, part.full(scan.island[part.face].astype(np.int32), -1)),
        mm_a_texel=scan.mm_a_texel,
        truth=body.truth,
        pigment=pigment,
    )


@lru_cache(maxsize=1)  # a piece is dusted once, and photographed under several lights
def _dusted(part: Texels, speckle: float, powder: float, mm_a_texel: float, seed: int) -> Floats:
    """(t,) factor on the albedo by specks and unevenness of the spray."""
    dots = speckles(part, speckle, np.random.default_rng(seed + 55), texel_area=mm_a_texel**2)
    return dots * (1.0 + powder * scanned.Noise(seed + 56)(part.position, 4.0, octaves=2)) if powder else dots


def _border(inside: Any, island: Any) -> Any:
    """(h, w) uint8 texels to the border of the island, up to 7; 255 further in, 0 outside."""
    found = np.where(inside, 255, 0).astype(np.uint8)
    alive = inside.copy()
    for step in range(1, 8):
        edge = np.zeros_like(alive)
        for axis in range(2):
            for shift in (1, -1):
                near = np.roll(alive, shift, axis) & (np.roll(island, shift, axis) == island)
                edge |= alive & ~near
        found[edge] = step
        alive &= ~edge
    return found


@lru_cache(maxsize=1)
def baked_shape(name: str) -> BakedShape:
    """The truth of a bench shape and its transport, from the cache or made now."""
    path = CACHE / f"{name}-{_recipe(*_makers(name), transport)}.npz"
    if not path.exists():
        shape = make_shape(name)
        flow = transport.baked(shape.vertices * LARGER.get(name, 1.0), shape.normals)  # what sees what knows no size
        parts = {"vertices": shape.vertices, "faces": shape.faces.astype(np.int32), "albedo": shape.albedo.astype(np.float32)}
        _save(path, **parts, **vars(flow))
    with np.load(path) as kept:
        truth = Shape(name, kept["vertices"], kept["faces"], kept["albedo"])
        names = ("normals", "seen", "cluster", "view_from", "view_way", "view_to")
        return BakedShape(truth, transport.Transport(*(kept[key] for key in names)), truth.digest())


@lru_cache(maxsize=1)
def baked_scan(name: str, *, size: int = 2048, seed: int = 0, triangles: int = 60_000) -> BakedScan:
    """A scan of a bench shape (open below, where a phone sees nothing), unwrapped, with its texels."""
    body = baked_shape(name)
    recipe = _recipe(scanned, charts, texels, salt=body.digest)  # of this very truth, not of one made like it
    path = CACHE / f"{name}-scan-{size}-{seed}-{triangles}-{recipe}.npz"
    if not path.exists():
        truth = body.truth
        mesh = scanned.scan_mesh(truth, triangles=triangles, seed=seed, open_below=0.6)
        islands = ISLANDS.get(name, max(200, min(1000, len(mesh.faces) // 40)))
        mesh, island = charts.unwrapped(mesh, islands=islands, texels=size, seed=seed)
        part = texels.texels(mesh, truth.vertices, truth.faces, size)
        _save(
            path,
            vertices=mesh.vertices,
            faces=mesh.faces.astype(np.int32),
            uv=mesh.uv,
            island=island,
            truth_face=part.truth_face,
            truth_weights=part.truth_weights,
            height=part.height.astype(np.float32),
        )
    with np.load(path) as kept:
        mesh = TriangleMesh(kept["vertices"], kept["faces"], kept["uv"])
        place, face, weights = covered(mesh, size)
        from blender_addon.core.mesh.triangles import vertex_normals

        normals = vertex_normals(mesh.vertices, mesh.faces)
        part = Texels(
            size,
            place,
            face,
            weights,
            mixed(mesh.vertices, mesh.faces[face], weights),
            unit(mixed(normals, mesh.faces[face], weights)),
            kept["truth_face"],
            kept["truth_weights"],
            kept["height"],
        )
        flat = TriangleMesh(
            np.concatenate([mesh.uv.reshape(-1, 2), np.zeros((3 * len(mesh.faces), 1))], 1),
            np.arange(3 * len(mesh.faces)).reshape(-1, 3),
        )
        texel = np.sqrt(face_areas(mesh.vertices, mesh.faces).sum() / face_areas(flat.vertices, flat.faces).sum()) / size
        return BakedScan(mesh, kept["island"], part, float(texel))


def _makers(name: str) -> tuple[ModuleType, ...]:
    """The modules that decide what a shape looks like."""
    own = {"engraved": (engraved,), "owl": (owl, owl_form)}
    return (fields, nets, tooling, *own.get(name, (more_shapes,)))


def _recipe(*modules: ModuleType, salt: str = "") -> str:
    found = hashlib.sha256(salt.encode())
    for module in modules:  # layout and comments don't count
        found.update(ast.dump(ast.parse(inspect.getsource(module))).encode())
    return found.hexdigest()[:12]


def _save(path: Path, **arrays: Any) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    partial = path.with_suffix(f".{os.getpid()}.part.npz")
    np.savez(partial, **arrays)
    partial.replace(path)
    for older in path.parent.glob(path.name.rsplit("-", 1)[0] + "-" + "?" * 12 + ".npz"):
        if older != path:
            older.unlink(missing_ok=True)
