"""Stands the scan up on its base, turns its front to the camera, and gives it its true size from one known length."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...core.mesh.preview import strewn
from ...core.mesh.spikes import ring_medians, steady_vertices
from ...core.mesh.triangles import TriangleMesh, face_normals
from ...core.scan import known_length
from ...core.scan.support_plane import FILE_AXES, Support, supports
from ...core.scan.symmetry import Front, propose_front
from ...core.scan.units import texels_per_unit
from ...core.scan.upright import rotation_between, stand_top, turn_about_z
from ...job.aside import aside
from ...job.errors import SubjectError
from ...job.settings import FIRST, SHORT, angle, choice, length, point, switch
from ...job.step import Progress, Result, Run
from ...scene.meshes import make_object, read_mesh
from ...scene.scan.hull import hull_triangles
from ...scene.scan.textures import sizes_of

LABEL = "Orientation"
NEEDS = ("clean",)
MAKES = ("upright",)

ASSUMED_MM = 80.0
FRONT_POINTS = 40_000
MOST_LEAN_DEG = 30.0
SPIKY_PERCENT = 0.5
"""Share of spikes beyond which sizes are taken from the medians of neighbours: small outliers are left among them."""
DOUBT = 0.1
"""Lead over the second likeliest way to stand below which the user is asked to look."""
AXES = {"x": (1, 0, 0), "-x": (-1, 0, 0), "y": (0, 1, 0), "-y": (0, -1, 0), "z": (0, 0, 1), "-z": (0, 0, -1)}


@dataclass(kw_only=True)
class Settings:
    """What orientation can be told."""

    MARKS = {"height": (FIRST, SHORT), "of": (FIRST, SHORT)}

    height: float | None = length(None, low=0.1, high=5000.0, help="Known height; without any known length the size is assumed")
    of: str = choice(
        "whole",
        (
            ("whole", "Whole", "The height of piece and stand together"),
            ("piece", "Piece", "The height of the piece over its stand"),
        ),
        label="Height of",
        help="What the known height is the height of",
    )
    width: float | None = length(None, low=0.1, high=5000.0, help="Known width, from left to right seen from the front")
    stand_length: float | None = length(None, low=0.1, high=5000.0, help="Known length of the stand's longer side", more=True)
    disc: float | None = length(
        None, low=0.1, high=5000.0, label="Stand diameter", help="Known diameter of a round stand", more=True
    )
    distance: float | None = length(
        None,
        low=0.01,
        high=5000.0,
        label="Distance A to B",
        help="Known distance of the points A and B, such as the marks of a scale bar",
        more=True,
    )
    point_a: tuple[float, ...] | None = point(
        None, unit="", label="Point A", help="Point A, in the scan's own coordinates", more=True
    )
    point_b: tuple[float, ...] | None = point(
        None, unit="", label="Point B", help="Point B, in the scan's own coordinates", more=True
    )
    up: str = choice(
        "auto",
        (
            ("auto", "Auto", "Found from the shape"),
            *((axis, axis.upper(), f"The scan's {axis.upper()} axis") for axis in AXES),
        ),
        label="Up axis",
        help="Which way is up",
    )
    keep_lean: bool = switch(False, help="Keep the scan's own vertical, so that a leaning piece goes on leaning")
    front: float | None = angle(
        None,
        low=-360.0,
        high=360.0,
        label="Front direction",
        help="Where the front is, counter-clockwise from above; auto: the shape's mirror plane proposes it",
    )


def run(stage: Any, settings: Settings) -> Run:
    """Find the support, stand the mesh on it, turn its front, size it, offer it."""
    yield Progress(0.05, "Looking for what it stands on")
    clean = stage.require("clean", "1")
    mesh = read_mesh(clean)
    good = steady_vertices(mesh)
    support = yield from aside(lambda: _support(stage, mesh, good, settings), Progress(0.1, "Looking for what it stands on"))
    yield Progress(0.6, "Standing it up and looking for its front")
    turn = rotation_between(support.up, np.array([0.0, 0.0, 1.0]))
    front = yield from aside(lambda: _front(mesh, turn, support, settings), Progress(0.65, "Looking for its front"))
    turn = turn_about_z(-front.angle_deg) @ turn
    standing, shift = _placed(mesh, good, turn, support)
    level = replace(mesh, vertices=standing)
    spiky = float(stage.require("clean", "1").get("bozzetto_spikes_percent", 0.0)) > SPIKY_PERCENT
    extent = (ring_medians(level) if spiky else standing)[good]
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, shift
    yield Progress(0.8, "Giving it its size")
    clean = stage.require("clean", "1")
    mm, how, assumed = _mm_per_unit(stage, settings, known_length.Standing(level, extent, matrix), clean)
    materials = [slot.material for slot in clean.material_slots]
    item = make_object("Upright", replace(mesh, vertices=(standing * mm / 1000.0).astype(np.float32)), materials=materials)
    matrix[:3] *= mm / 1000.0
    item["bozzetto_matrix"] = matrix.ravel().tolist()
    item["bozzetto_mm_per_unit"], item["bozzetto_assumed"] = mm, assumed
    stage.offer("upright", item, key="1", name="Upright")
    if assumed:
        stage.warn(f"No length is known, so the size is assumed ({how}); set the height for true size")
    figures = _figures(replace(level, vertices=standing * mm), extent * mm, materials)
    figures |= {
        "mm_per_unit": mm, "assumed": assumed, "size_from": how, "support": support.kind,
        "support_flat": round(support.flat, 3), "tip_deg": round(support.tip_deg, 2),
        "up": [float(value) for value in support.up],
        "front_deg": round(front.angle_deg, 2), "front_sure": front.sure, "front_likeness": round(front.likeness, 3),
    }  # fmt: skip
    size = (figures["width_mm"], figures["depth_mm"], figures["height_mm"])
    words = f"{size[0]:.1f} x {size[1]:.1f} x {size[2]:.1f} mm{' (assumed)' if assumed else ''}, standing on "
    words += {"flat": "its base", "resting": "a stable pose", "given": "the side that was given"}[support.kind]
    return Result(words, figures)


def _placed(mesh: TriangleMesh, good: Any, turn: Any, support: Support) -> tuple[Any, Any]:
    """The turned vertices (n, 3), moved so that the support is z = 0 and the footprint's box is centred, and that move (3,)."""
    standing = mesh.vertices.astype(float) @ turn.T
    ground = float((turn @ support.point)[2])
    if support.kind != "flat":
        ground = float(standing[good, 2].min())
    middle = 0.5 * (standing[good].min(axis=0) + standing[good].max(axis=0))
    shift = -np.array([middle[0], middle[1], ground])
    return standing + shift, shift


def _front(mesh: TriangleMesh, turn: Any, support: Support, settings: Settings) -> Front:
    if settings.front is not None:
        return Front(settings.front, 0.0, True)
    standing = replace(mesh, vertices=(mesh.vertices.astype(float) - support.point) @ turn.T)
    faces, weights = strewn(standing, FRONT_POINTS)
    points = np.einsum("nk,nkd->nd", weights, standing.vertices[mesh.faces[faces]])
    normals = face_normals(standing.vertices, mesh.faces)[faces]
    over = stand_top(standing)
    if over is not None:  # a stand has sides of its own; the front is the piece's
        piece = points[:, 2] > over + 0.03 * (points[:, 2].max() - over)
        points, normals = points[piece], normals[piece]
    return propose_front(points, normals, np.ones(len(points)))


def _figures(mesh: TriangleMesh, points: Any, materials: Any) -> dict[str, Any]:
    """Sizes in mm of a standing mesh in mm."""
    size = np.ptp(points, axis=0)
    over = stand_top(mesh)
    figures = {
        "height_mm": round(float(points[:, 2].max()), 4),
        "width_mm": round(float(size[0]), 4),
        "depth_mm": round(float(size[1]), 4),
        "texels_per_mm": round(texels_per_unit(mesh, sizes_of(materials)), 3),
    }
    if over is not None:
        figures["stand_top_mm"] = round(over, 3)
    return figures


def _support(stage: Any, mesh: TriangleMesh, good: Any, settings: Settings) -> Support:
    if settings.up != "auto":
        up = np.array(AXES[settings.up], float)
        return Support(up, np.zeros(3), "given", 0.0, 0.0, 0.0, 0.0)
    found = supports(mesh, hull_triangles, axes=FILE_AXES, good=good)
    if not found:
        raise SubjectError("No way to stand was found: the scan is flat or too small; say which way is up")
    if len(found) > 1 and found[0].score - found[1].score < DOUBT:
        stage.warn('It could stand in more than one way; look whether it stands as it should, else say which way is "up"')
    return _leaning(stage, found[0]) if settings.keep_lean else found[0]


def _leaning(stage: Any, support: Support) -> Support:
    """The support with the file's nearest axis as its vertical, where one is near enough to be meant."""
    up = np.zeros(3)
    axis = int(np.argmax(np.abs(support.up)))
    up[axis] = np.sign(support.up[axis])
    lean = float(np.degrees(np.arccos(np.clip(up @ support.up, -1.0, 1.0))))
    if lean > MOST_LEAN_DEG:
        stage.warn(
            f"The lean was not kept: the scan's own axes lie {lean:.0f} degrees from upright, so none of them is its vertical"
        )
        return support
    return replace(support, up=up, kind="given")


def _mm_per_unit(stage: Any, settings: Settings, standing: known_length.Standing, clean: Any) -> tuple[float, str, bool]:
    """Millimetres a scan unit, how that is known, and whether it is only assumed."""
    known = _known(settings, standing)
    if known:
        (how, mm), *others = known.items()
        for other, value in others:
            if abs(value / mm - 1.0) > 0.01:
                off = 100.0 * abs(value / mm - 1.0)
                stage.warn(f"The known {how} and the known {other} disagree by {off:.1f} %; {how} was taken")
        return mm, how, False
    if clean.get("bozzetto_unit_known"):
        return float(clean["bozzetto_mm_per_unit"]), "the file's unit", False
    longest = float(np.ptp(standing.points, axis=0).max())
    if clean.get("bozzetto_mm_per_unit"):
        mm = float(clean["bozzetto_mm_per_unit"])
        return mm, f"the file's unit guessed, {mm * longest:.0f} mm long", True
    return ASSUMED_MM / max(longest, 1e-30), f"{ASSUMED_MM:.0f} mm along the longest side", True


def _known(settings: Settings, standing: known_length.Standing) -> dict[str, float]:
    """Millimetres a unit by each length that was given, the surest first."""
    ways: list[tuple[str, float | None, Callable[[], float]]] = [
        ("distance", settings.distance, lambda: _two_points(settings)),
        ("height", settings.height, lambda: _height(settings, standing)),
        ("width", settings.width, lambda: known_length.width(standing)),
        ("stand length", settings.stand_length, lambda: known_length.stand_length(standing)),
        ("disc", settings.disc, lambda: known_length.disc_diameter(standing)),
    ]
    found = {}
    for name, millimetres, measured in ways:
        if millimetres is None:
            continue
        try:
            units = measured()
            if not units > 0.0:
                raise known_length.NotMeasurable("the scan has no extent in that direction")
            found[name] = millimetres / units
        except known_length.NotMeasurable as problem:
            raise SubjectError(f"The known {name} can't be used: {problem}") from None
    return found


def _height(settings: Settings, standing: known_length.Standing) -> float:
    return known_length.piece_height(standing) if settings.of == "piece" else known_length.whole_height(standing)


def _two_points(settings: Settings) -> float:
    if settings.point_a is None or settings.point_b is None:
        raise known_length.NotMeasurable("it needs both points, A and B; pick them on the scan")
    return known_length.between(settings.point_a, settings.point_b)
