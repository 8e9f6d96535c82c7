"""Stands the scan upright on its base, turns its front to the camera, and scales it to true size by one known length."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.arrays import Bools, Floats, Ints
from ...core.mesh.preview import sampled_by_area
from ...core.mesh.similarity import rotation_about
from ...core.mesh.spikes import ring_medians, steady_vertices
from ...core.mesh.triangles import TriangleMesh, face_normals
from ...core.scan import known_length
from ...core.scan.facing.choosing import facings
from ...core.scan.facing.profiles import Standing
from ...core.scan.loose import apart
from ...core.scan.standing.file_axes import AXES, SET_UP
from ...core.scan.support_plane import Support, supports
from ...core.scan.units import texels_per_unit
from ...core.scan.upright import rotation_between, stand_top
from ...job.decisions import Decision
from ...job.errors import SubjectError
from ...job.files.aside import aside
from ...job.step import Progress, Result, Run
from ...scene.meshes import MM, make_object, read_mesh
from ...scene.scan.hull import hull_triangles
from ...scene.scan.questions.looks import Looks, looks_of_scan
from ...scene.scan.questions.size_choices import size_decision
from ...scene.scan.questions.standing_choices import front_decision, given_front, up_decision
from ...scene.scan.textures import sizes_of
from ...scene.stage import Stage
from ...scene.thumbnails import Paint, paint_of, surface_colours
from .declared.orientation import Settings

if TYPE_CHECKING:
    import bpy

ASSUMED_MM = 80.0
"""Longest side of a piece of which no length is known: a guess, said wherever a size is shown."""
FRONT_POINTS = 40_000
"""Points of the surface by which the front is judged."""
MOST_LEAN_DEG = 30.0
"""Lean from the file's axis that may be intended: a guess."""
LEAST_EXTENT = 1e-5
"""Smallest extent, over the longest side, that a known length may refer to; less would be rounding error."""
SPIKY_PERCENT = 0.5
"""Share of spikes beyond which sizes are measured on the medians of neighbours, since small outliers remain."""
UP = np.array([0.0, 0.0, 1.0])
"""The upright axis of the scene."""


def run(stage: Stage, settings: Settings) -> Run:
    """Find the support, stand the mesh on it, turn its front to the camera, scale it and offer it."""
    yield Progress(0.05, "Looking for what it stands on")
    clean = stage.require("clean", "1")
    mesh = read_mesh(clean)
    looking = Progress(0.1, "Looking for what it stands on")
    yield looking
    paint = paint_of(clean)
    good = yield from aside(partial(_steady, mesh), looking)
    looks = yield from aside(partial(looks_of_scan, paint, mesh), looking)
    search = partial(_support, stage, mesh, good, settings, looks, paint)
    support, up = yield from aside(search, looking)
    yield Progress(0.6, "Turning it upright and looking for its front")
    turn = rotation_between(support.up, UP)
    file = str(stage.require("clean", "1").get("bozzetto_file", "")) if support.axis in SET_UP else None
    facing = partial(_front, mesh, turn, support, settings, looks, file)
    front = yield from aside(facing, Progress(0.65, "Looking for its front"))
    front_deg = float(front.choice.sets["orientation.front"])
    turn = rotation_about("z", np.radians(-front_deg)) @ turn
    standing, shift = _placed(mesh, good, turn, support)
    level = replace(mesh, vertices=standing)
    spiky = float(stage.require("clean", "1").get("bozzetto_spikes_percent", 0.0)) > SPIKY_PERCENT
    extent = (ring_medians(level) if spiky else standing)[good]
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, shift
    yield Progress(0.8, "Scaling it to its true size")
    clean = stage.require("clean", "1")
    mm, how, assumed = _mm_per_unit(stage, settings, known_length.Standing(level, extent, matrix), clean)
    materials = [slot.material for slot in clean.material_slots]
    item = make_object("Upright", replace(mesh, vertices=(standing * mm / MM).astype(np.float32)), materials=materials)
    matrix[:3] *= mm / MM
    item["bozzetto_matrix"] = matrix.ravel().tolist()
    item["bozzetto_mm_per_unit"], item["bozzetto_assumed"] = mm, assumed
    item["bozzetto_front_chance"] = front.confidence if front.asked else 1.0
    stage.offer("upright", item, key="1", name="Upright")
    if assumed:
        stage.warn(f"No length is known, so the size is assumed ({how}); set the height for true size")
    sizes, upright = sizes_of(materials), replace(level, vertices=standing * mm)
    figures = yield from aside(partial(_figures, upright, extent * mm, sizes), Progress(0.9, "Scaling it to its true size"))
    figures |= {
        "mm_per_unit": mm, "assumed": assumed, "size_from": how, "support": support.kind,
        "support_flat": round(support.flat, 3), "tip_deg": round(support.tip_deg, 2),
        "up": [float(value) for value in support.up], "up_sure": not up.asked, "up_chance": round(up.confidence, 3),
        "front_deg": round(front_deg, 2), "front_sure": not front.asked, "front_chance": round(front.confidence, 3),
    }  # fmt: skip
    size = (figures["width_mm"], figures["depth_mm"], figures["height_mm"])
    words = f"{size[0]:.1f} x {size[1]:.1f} x {size[2]:.1f} mm{' (assumed)' if assumed else ''}, {_ground(support, up)}"
    guessed = assumed and bool(stage.require("clean", "1").get("bozzetto_mm_per_unit"))
    of = settings.of if settings.height is not None and how == "height" else ""
    return Result(words, figures, (up, front, size_decision(how, assumed, size, unit_guessed=guessed, of=of)))


def _steady(mesh: TriangleMesh) -> Bools:
    """(n,) the vertices that are neither spikes nor of a speck in the air."""
    return steady_vertices(mesh) & ~apart(mesh)


def _ground(support: Support, up: Decision) -> str:
    """What the scan stands on, for the step's sentence, and whether that is sure."""
    words = {"flat": "standing on its base", "resting": "resting on a few points", "mount": "held up as the file's axes say"}
    if support.kind == "given":
        return "standing on the side that was given"
    return words[support.kind] + (", but which way is up is not sure" if up.asked else "")


def _placed(mesh: TriangleMesh, good: Bools, turn: Floats, support: Support) -> tuple[Floats, Floats]:
    """The rotated vertices (n, 3), shifted so that the support is z = 0 and the bounding box centred; and the shift (3,)."""
    standing = mesh.vertices.astype(float) @ turn.T
    ground = float((turn @ support.point)[2])
    if support.kind != "flat":
        ground = float(standing[good, 2].min())
    middle = 0.5 * (standing[good].min(axis=0) + standing[good].max(axis=0))
    shift = -np.array([middle[0], middle[1], ground])
    return standing + shift, shift


def _front(
    mesh: TriangleMesh, turn: Floats, support: Support, settings: Settings, looks: Looks, file: str | None
) -> Decision:  # fmt: skip
    """The decision on the front, counter-clockwise from -Y of the mesh rotated by `turn` (3, 3).

    file: name of the scan file, if the mesh stands as its axes say.
    """
    if settings.front is not None:
        return given_front(settings.front, support.up, looks)
    vertices = (mesh.vertices.astype(float) - support.point) @ turn.T
    middle = 0.5 * (vertices.min(axis=0) + vertices.max(axis=0))
    vertices -= [middle[0], middle[1], float(vertices[:, 2].min())]
    standing = replace(mesh, vertices=vertices)
    faces, weights = sampled_by_area(standing, FRONT_POINTS)
    filled = mesh.face_marks.get("filled")
    if filled is not None and not filled[faces].all():
        faces, weights = faces[~filled[faces]], weights[~filled[faces]]
    points = np.einsum("nk,nkd->nd", weights, vertices[mesh.faces[faces]])
    thing = Standing(points, face_normals(vertices, mesh.faces)[faces], stand_top(standing) or 0.0)
    return front_decision(facings(thing, file=file), support.up, looks)


def _figures(mesh: TriangleMesh, points: Floats, sizes: dict[int, tuple[int, int]]) -> dict[str, Any]:
    """Sizes in mm of an upright mesh in mm. sizes: those of its materials' pictures."""
    size = np.ptp(points, axis=0)
    over = stand_top(mesh)
    figures = {
        "height_mm": round(float(points[:, 2].max()), 4),
        "width_mm": round(float(size[0]), 4),
        "depth_mm": round(float(size[1]), 4),
        "texels_per_mm": round(texels_per_unit(mesh, sizes), 3),
    }
    if over is not None:
        figures["stand_top_mm"] = round(over, 3)
    return figures


def _support(
    stage: Stage, mesh: TriangleMesh, good: Bools, settings: Settings, looks: Looks, paint: Paint
) -> tuple[Support, Decision]:
    """The chosen way to stand, and the decision."""
    given = _given_up(settings)
    if given is not None:
        up, axis = given
        support = Support(up, np.zeros(3), "given", 0.0, 0.0, 0.0, 1.0, axis, ("the setting says so",))
        return support, up_decision([support], support, looks)
    clean = stage.require("clean", "1")
    file = str(clean.get("bozzetto_file", ""))
    found = supports(mesh, hull_triangles, file=file, good=good, colours=_shown_by(paint, mesh))
    if not found:
        raise SubjectError("The scan is flat or too small for a pose in which it could stand to be found; set which way is up")
    chosen = _leaning(stage, found[0]) if settings.keep_lean else found[0]
    decision = up_decision(found, chosen, looks)
    if decision.asked:
        stage.warn('Which way is up is not certain; check whether it stands as it should, and otherwise set "up"')
    return chosen, decision


def _given_up(settings: Settings) -> tuple[Floats, str] | None:
    """Up (3,) from the settings, and the file's axis nearest to it, if any; a direction has precedence over an axis."""
    if settings.up_direction is not None:
        up = np.array(settings.up_direction, float)
        if not np.linalg.norm(up) > 0:
            raise SubjectError("up_direction has no length: give a direction such as [0.0, 0.0, 1.0]")
        up = up / np.linalg.norm(up)
        return up, next((axis for axis, other in AXES.items() if up @ other > np.cos(np.radians(10.0))), "")
    return (AXES[settings.up], settings.up) if settings.up != "auto" else None


def _shown_by(paint: Paint, mesh: TriangleMesh) -> Callable[[Ints, Floats], Floats] | None:
    """A function for the scan's colours at points of its faces; None where it has no colour."""
    if not mesh.colours and mesh.uv is None:
        return None
    return partial(surface_colours, paint, mesh)


def _leaning(stage: Stage, support: Support) -> Support:
    """The support with the nearest axis of the file as its vertical, if one is within `MOST_LEAN_DEG`."""
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


def _mm_per_unit(
    stage: Stage, settings: Settings, standing: known_length.Standing, clean: bpy.types.Object
) -> tuple[float, str, bool]:
    """Millimetres per scan unit, the source of that value, and whether it is only assumed."""
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
    """Millimetres per unit by each given length, the most reliable first."""
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
            if not units > LEAST_EXTENT * float(np.ptp(standing.points, axis=0).max()):
                raise known_length.NotMeasurable("the scan has no extent in that direction")
            found[name] = millimetres / units
        except known_length.NotMeasurable as problem:
            raise SubjectError(f"The known {name} can't be used: {problem}") from None
    return found


def _height(settings: Settings, standing: known_length.Standing) -> float:
    ways = {"piece": known_length.piece_height, "longest": known_length.longest_side}
    return ways.get(settings.of, known_length.whole_height)(standing)


def _two_points(settings: Settings) -> float:
    if settings.point_a is None or settings.point_b is None:
        raise known_length.NotMeasurable("it needs both points, A and B; pick them on the scan")
    return known_length.between(settings.point_a, settings.point_b)
