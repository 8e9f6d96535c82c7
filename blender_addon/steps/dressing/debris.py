"""Lays shavings, offcuts, crumbs and powder round the piece, clear of subject, props and sight lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Bools, Floats
from ...core.dressing.debris import layout as laying
from ...core.dressing.debris.pieces import Piece, library
from ...core.dressing.trades import works
from ...core.records import record
from ...core.shots.sight import ShotView, blurred_before, convex_outline, in_any_sight, outside_distance
from ...job.files.aside import aside
from ...job.step import Progress, Result, Run
from ...scene.dressing import debris_parts, set_parts
from ...scene.dressing.instances import make_library, make_points
from ...scene.dressing.set_materials import debris_material
from ...scene.meshes import METRES
from ...scene.shots.cameras import shot_views, subject_points
from ...scene.shots.moves import move_views
from ...scene.spatial import SurfaceQueries
from ...scene.stage import Stage
from .declared.debris import Settings

if TYPE_CHECKING:
    import bpy


def run(stage: Stage, settings: Settings) -> Run:
    if settings.on is False or settings.count + (settings.powder or 0) + settings.on_stand == 0:
        yield Progress(1.0, "No debris asked for")
        return Result("No debris", {"pieces": 0})
    looking = Progress(0.05, "Looking at the table, the subject, the props and the sight lines")
    yield looking
    top = stage.require("table", "")
    body, tone = debris_parts.body_and_tone(stage, settings.body, settings.tone)
    if settings.body is None and settings.on is None and not works(str(top.get(set_parts.TRADE, ""))):
        body = None
    if body is None and settings.on:  # requested although this material sheds nothing
        body = "clay"
    if body is None:
        return Result("No debris: nothing falls off a finished piece; choose what the pieces are of to lay some", {"pieces": 0})
    seed = (
        int(top.get(set_parts.ARRANGEMENT, stage.seed * 1000 + 1))
        if settings.seed is None
        else stage.seed * 1000 + settings.seed
    )
    table = set_parts.world_mesh(top)
    pieces = yield from aside(partial(library, body, seed=seed), looking)
    surface = yield from aside(partial(SurfaceQueries, table.vertices, table.faces), looking)
    heights = set_parts.heights_of(surface)
    foot, views = set_parts.subject_foot(stage), shot_views(stage)
    views += move_views(stage, subject_points(stage))
    near = yield from aside(partial(debris_parts.distance_test, debris_parts.obstacles(stage, foot)), looking)
    clear = _clearance(foot, near, views, settings.keep_off)
    yield Progress(0.2, "Laying pieces and powder")
    falloff = settings.falloff or clear.radius * 0.65 + 13.0
    density = laying.work_density(
        clear.outside, falloff=falloff, drift=settings.drift, seed=seed,
        mask=debris_parts.mask_density(stage, settings.mask, table),
    )  # fmt: skip
    grains = min(6 * settings.count, 20_000) if settings.powder is None else settings.powder
    ground = laying.Ground(table.vertices, table.faces, density, clear.blocked, heights)
    amounts = laying.Amounts(laying.MIXES[body], settings.count, grains, settings.size)
    work = partial(laying.lay_out, ground, pieces, amounts, seed=seed)
    laid = yield from aside(work, Progress(0.5, "Laying pieces and powder"))
    if len(laid) < 0.9 * (settings.count + grains):
        stage.note(f"There is room for {len(laid):,} of {settings.count + grains:,} pieces; a larger fall-off gives more room")
    yield Progress(0.8, "Making them one object")
    shapes = make_library("Debris shapes", [set_parts.to_metres(piece.mesh) for piece in pieces], [debris_material(body, tone)])
    set_parts.offer_part(stage, "debris", shapes, key="library", name="Debris shapes")
    points = make_points("Debris", METRES * laid.places, laid.piece, laid.turns, laid.sizes, laid.tints, shapes)
    points[set_parts.PART_OF] = ""
    set_parts.offer_part(stage, "debris", points, key="table", name="Debris")
    powder = int(sum(pieces[k].kind == "grain" for k in laid.piece))
    figures: dict[str, object] = {
        "pieces": len(laid),
        "grains": powder,
        "body": body,
    }
    if settings.on_stand and stage.find("stand") is not None:
        yield Progress(0.9, "Laying a little on the stand")
        figures["on_stand"] = _on_stand(stage, settings, pieces, body, shapes, seed + 17)
    return Result(f"{len(laid) - powder:,} pieces of {body} and {powder:,} of powder round the work", figures)


@record
class Clearance:
    """What debris keeps clear of. outside: distance from the subject's foot. blocked: whether a place is not allowed."""

    outside: Callable[[Floats], Floats]
    blocked: Callable[[Floats, Floats, Floats], Bools]
    radius: float


def _clearance(
    foot: set_parts.Foot, near: Callable[[Floats, Floats], Bools], views: Sequence[ShotView], keep_off: float
) -> Clearance:
    """The clearance from the subject's foot, from obstacles (`near`, a `distance_test`), and from sight lines; mm."""
    low = foot.points if len(foot.points) else foot.vertices
    ring = convex_outline(low[:, :2])
    radius = float(np.linalg.norm(low[:, :2] - foot.middle, axis=1).max())

    def outside(xy: Floats) -> Floats:
        return outside_distance(np.asarray(xy, float), ring)

    def blocked(places: Floats, radii: Floats, tall: Floats) -> Bools:
        if not len(places):
            return np.zeros(0, bool)
        found = outside(places[:, :2]) < radii + keep_off
        middle = places + np.column_stack([np.zeros((len(places), 2)), 0.5 * tall])
        reach = np.hypot(radii, 0.5 * tall)
        free = np.flatnonzero(~found)
        found[free] = near(middle[free], reach[free] + keep_off)
        free = np.flatnonzero(~found)
        found[free] = in_any_sight(middle[free], views, radius_mm=reach[free])
        for view in views:
            if view.kind == "detail":
                free = np.flatnonzero(~found)
                found[free] = blurred_before(middle[free], view, radius_mm=reach[free])
        return found

    return Clearance(outside, blocked, radius)


def _on_stand(stage: Stage, settings: Settings, pieces: Sequence[Piece], body: str, shapes: bpy.types.Object, seed: int) -> int:
    """Lay a few pieces on the stand's upper side, which turn with it; returns their number."""
    stand, piece = set_parts.world_mesh(stage.require("stand")), set_parts.world_mesh(stage.require("piece"))
    near = debris_parts.distance_test([piece])
    heights = set_parts.heights_of(SurfaceQueries(stand.vertices, stand.faces), top=float(stand.vertices[:, 2].max()) + 50.0)

    def blocked(places: Floats, radii: Floats, tall: Floats) -> Bools:
        middle = places + np.column_stack([np.zeros((len(places), 2)), 0.5 * tall])
        return near(middle, np.hypot(radii, 0.5 * tall) + 0.4)

    small = [share for share in laying.MIXES[body] if share.kind == "crumb"]
    everywhere = laying.Ground(stand.vertices, stand.faces, lambda points: np.ones(len(points)), blocked, heights, steepest=0.9)
    crumbs = laying.Share("crumb", 1.0, small[0].least, small[0].usual * 0.8, small[0].most * 0.6)
    amounts = laying.Amounts([crumbs], settings.on_stand, 2 * settings.on_stand, settings.size)
    laid = laying.lay_out(everywhere, pieces, amounts, seed=seed)
    item = make_points("Debris on the stand", METRES * laid.places, laid.piece, laid.turns, laid.sizes, laid.tints, shapes)
    item["bozzetto_turns"] = True
    set_parts.offer_part(stage, "debris", item, key="stand", name="Debris on the stand")
    return len(laid)
