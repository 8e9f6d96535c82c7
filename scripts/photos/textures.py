"""Which textures is a sculpture shown with? Photos under each light, and pictures that hold no light at all."""

from __future__ import annotations

import ast
import hashlib
import os
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import unit
from blender_addon.scene.spatial import SurfaceQueries as RayTree

from . import rooms, tracer
from .camera import Phone, exposed
from .sculpture import Sculpture

Floats = Any
KEPT = Path(__file__).resolve().parents[2] / "out" / "photos"
GREY = 0.55
PAINTS = np.array([[0.42, 0.24, 0.12], [0.20, 0.30, 0.16], [0.55, 0.44, 0.22], [0.48, 0.47, 0.45]])
"""Four plain colours, linear; invented."""
PHOTOS = (*rooms.NAMES, "painted")
UNLIT = ("grey_speckle", "paint_grain", "washed", "thickness", "openness")


def photos(piece: Sculpture) -> dict[str, Floats]:
    """(n, 3) linear colours of the texture under each of `rooms.NAMES`, and 'painted' under the area light."""
    return {name: kept for name, kept in _kept(piece, "photos", lambda: _photos(piece)).items()}


def unlit(piece: Sculpture) -> dict[str, Floats]:
    """(n, 3) linear colours of pictures without any light: a grey with fine speckle, paint with grain, the same with dirt in
    the recesses, how thick the form is, how open it is (both as grey maps, encoded as pictures are)."""
    return {name: kept for name, kept in _kept(piece, "unlit", lambda: _unlit(piece)).items()}


def gloss(piece: Sculpture) -> Floats:
    """(n, 3) linear colours of the bare metal under the interior light: mirror images of the room seen squarely, blurred by
    20 degrees, which stay in a texture that is blended from many photos."""
    return _kept(piece, "gloss", lambda: {"gloss": _gloss(piece)})["gloss"]


def _photos(piece: Sculpture) -> dict[str, Floats]:
    seen = tracer.look(piece)
    grey = np.full((len(seen.spot), 3), GREY)
    lit = tracer.irradiance(piece, seen, list(rooms.NAMES), grey)
    made = {
        name: exposed(piece.surface, GREY * light, seed=10 + place)
        for place, (name, light) in enumerate(zip(rooms.NAMES, lit, strict=True))
    }
    paint = _painted(piece.surface.position) * _grain(piece.surface.position)[:, None]
    under = tracer.irradiance(piece, seen, ["area"], _painted(seen.spot))[0]
    return made | {"painted": exposed(piece.surface, paint * under, seed=20)}


def _unlit(piece: Sculpture) -> dict[str, Floats]:
    surface, rng = piece.surface, np.random.default_rng(31)
    speckle = GREY * np.exp(0.014 * rng.standard_normal((len(surface), 1))) * np.ones(3)
    paint = _painted(surface.position) * _grain(surface.position)[:, None]
    seen = tracer.look(piece)
    free = tracer.openness(piece, seen)
    wash = paint * np.clip(0.25 + 0.9 * free, 0.0, 1.0)[:, None]
    thick = tracer.at_texels(piece, seen, _thickness(piece, seen)[:, None])
    maps = {"thickness": _grey_map(thick[:, 0]), "openness": _grey_map(free)}
    coarse = Phone(blur=0.7, read=0.0, shot=0.0)
    return {
        "grey_speckle": exposed(surface, speckle, coarse, seed=32),
        "paint_grain": exposed(surface, paint, seed=33),
        "washed": exposed(surface, wash, seed=34),
    } | maps


def _grey_map(values: Floats) -> Floats:
    """(n, 3) linear of values (n,) stretched to 0 to 1 and written as a picture's bytes."""
    low, high = np.quantile(values, [0.01, 0.99])
    shown = np.round(255 * np.clip((values - low) / max(high - low, 1e-9), 0.0, 1.0)) / 255
    linear = np.where(shown <= 0.04045, shown / 12.92, ((shown + 0.055) / 1.055) ** 2.4)
    return np.repeat(linear[:, None], 3, axis=1).astype(np.float32)


def _thickness(piece: Sculpture, seen: tracer.Seen) -> Floats:
    """(v,) mean way through the form in a cone about the inward normal, mm."""
    tree = RayTree(piece.mesh.vertices, piece.mesh.faces)
    rng = np.random.default_rng(7)
    total = np.zeros(len(seen.spot))
    for _ in range(12):
        inward = unit(-seen.normal + 0.5 * unit(rng.standard_normal(seen.normal.shape)))
        _, far = tree.cast(seen.spot + 0.05 * inward, inward)
        total += np.minimum(np.where(np.isfinite(far), far, 30.0), 30.0)
    return total / 12


def _gloss(piece: Sculpture) -> Floats:
    ways, light = rooms.even_directions(), rooms.surroundings("interior")
    lobe = np.exp((ways @ ways.T - 1.0) / (1.0 - np.cos(np.radians(20.0))))
    light = (lobe / lobe.sum(axis=1, keepdims=True)) @ light
    found = np.zeros((len(piece.surface), 3))
    for first in range(0, len(found), 50_000):
        near = np.exp((piece.true_normal[first : first + 50_000] @ ways.T - 1.0) / 0.01)
        found[first : first + 50_000] = (near / near.sum(axis=1, keepdims=True)) @ light
    return exposed(piece.surface, found * np.array([0.71, 0.45, 0.27]), seed=41)


def waves(points: Floats, size_mm: float, seed: int) -> Floats:
    """(n,) smooth noise of unit spread: plane waves in random directions, about `size_mm` long."""
    rng = np.random.default_rng(seed)
    ways = unit(rng.standard_normal((24, 3))) * (2 * np.pi / (size_mm * rng.uniform(0.7, 1.6, (24, 1))))
    total = np.zeros(len(points), np.float32)
    for way, phase in zip(ways, rng.uniform(0, 2 * np.pi, 24), strict=True):
        total += np.cos(points @ way.astype(np.float32) + np.float32(phase))
    return total / np.sqrt(12.0)


def _painted(points: Floats) -> Floats:
    """(n, 3) linear colours of fields about 25 mm wide with soft borders, uneven by a few percent."""
    fields = np.stack([waves(points, 25.0, seed) for seed in (1, 2, 3, 4)], axis=1)
    share = np.exp(12.0 * (fields - fields.max(axis=1, keepdims=True)))
    share /= share.sum(axis=1, keepdims=True)
    return (share @ PAINTS) * np.exp(0.04 * waves(points, 3.0, 5))[:, None]


def _grain(points: Floats) -> Floats:
    """(n,) factor: brush marks about 0.6 mm apart along bent ways, dark by up to a quarter."""
    bent = points[:, 2] + 2.5 * waves(points, 20.0, 6) + 0.35 * points[:, 0]
    streak = 0.5 + 0.5 * np.sin(2 * np.pi * bent / 0.6 + 1.5 * waves(points, 2.5, 8))
    return 1.0 - 0.25 * streak * np.clip(0.5 + 0.6 * waves(points, 9.0, 9), 0.0, 1.0)


def _recipe(path: Path) -> bytes:
    """A module's syntax tree without its docstrings: words don't change what it makes."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            kept = [
                statement
                for statement in body
                if not (isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant))
            ]
            node.body = kept or [ast.Pass()]  # type: ignore[attr-defined]
    return ast.dump(tree).encode()


def _kept(piece: Sculpture, kind: str, make: Any) -> dict[str, Floats]:
    """What `make` gives, from the folder of kept textures when this very recipe has made it before."""
    found = hashlib.sha256(piece.mesh.vertices.tobytes() + piece.true_normal[::97].tobytes())
    for name in ("rooms", "tracer", "camera", "textures", "sculpture"):
        found.update(_recipe(Path(__file__).with_name(f"{name}.py")))
    path = KEPT / f"{piece.name}-{kind}-{found.hexdigest()[:12]}.npz"
    if not path.exists():
        made = make()
        path.parent.mkdir(parents=True, exist_ok=True)
        partial = path.with_suffix(f".{os.getpid()}.part.npz")
        np.savez(partial, **{name: values.astype(np.float16) for name, values in made.items()})
        for older in KEPT.glob(f"{piece.name}-{kind}-{'?' * 12}.npz"):
            older.unlink(missing_ok=True)
        partial.replace(path)
    with np.load(path) as kept:
        return {name: kept[name].astype(np.float32) for name in kept}
