"""Sets the table: what the subject stands on, what lies behind it, and the things round it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.tabletops import backdrop as rooms
from ...core.tabletops.grid import Extent, Tabletop
from ...core.tabletops.planks import Planks, planks
from ...job.settings import choice, length, number
from ...job.step import Progress, Result, Run
from ...scene import set_parts
from ...scene.cameras import shot_views, subject_points
from ...scene.set_materials import room_materials, table_materials

LABEL = "Tabletop"
NEEDS = ("piece", "shot")
USES = ("stand", "surface")
MAKES = ("table", "backdrop", "prop")

KINDS = (("planks", "Workbench", "Boards of an old bench: gaps, joints, knots, saw marks, wear"),)
BACKDROPS = (
    ("workshop", "Workshop", "A room with shelves and pots, far behind"),
    ("wall", "Wall", "A bare wall, far behind"),
    ("none", "Nothing", "Only the surroundings that light the scene"),
)


@dataclass(kw_only=True)
class Settings:
    kind: str = choice("planks", KINDS, help="What the subject stands on", label="Table")
    backdrop: str = choice("workshop", BACKDROPS, help="What is seen behind the table")
    wear: float = number(60.0, low=0.0, high=100.0, unit="%", help="How used the table looks")
    board_width: float = length(88.0, low=15.0, high=400.0, help="Usual width of a board", more=True)
    gap: float = length(0.9, low=0.0, high=8.0, help="Usual gap between boards", more=True)
    width: float | None = length(None, low=200.0, high=6000.0, help="Width of the table; by itself: to fit the subject", more=True)
    depth: float | None = length(None, low=200.0, high=4000.0, help="Depth of the table; by itself: to fit the subject", more=True)


def run(stage: Any, settings: Settings) -> Run:
    yield Progress(0.0, "Looking at the subject's foot and the shots")
    points, foot, views = subject_points(stage), set_parts.subject_foot(stage), shot_views(stage)
    extent = _extent(points, views, settings)
    kinds = [settings.kind, *sorted(_asked_by_shots(stage) - {settings.kind})]
    figures: dict[str, Any] = {"kind": settings.kind}
    for place, kind in enumerate(kinds):
        yield Progress(0.1 + 0.4 * place / len(kinds), f"Making {_label(kind)}")
        top = make_top(kind, extent, settings, stage.seed)
        mesh, support, gap = set_parts.settle_under(top.mesh, foot)
        key = "" if place == 0 else kind
        item = set_parts.make_part("table", mesh, table_materials(top.material, settings.wear / 100.0), table=key)
        if place:
            item.hide_render = item.hide_viewport = True
            item["bozzetto_spare"] = True
        stage.offer("table", item, key=key, name=f"Table {_label(kind)}" if place else "Table")
        if place == 0:
            figures |= {
                "rest_gap_mm": round(gap, 5), "contacts": len(support.contacts), "stable": support.stable,
                "tilt_deg": round(float(np.degrees(np.hypot(*support.slope))), 4), "vertices": len(mesh.vertices),
            }  # fmt: skip
    yield Progress(0.55, "Setting up the room behind")
    if settings.backdrop != "none":
        half = _room_half(extent, views)
        room = rooms.workshop(half, seed=stage.seed) if settings.backdrop == "workshop" else rooms.plain_wall(half)
        item = set_parts.make_part("room", room, room_materials())
        set_parts.only_seen(item)
        stage.offer("backdrop", item, key="room", name="Room")
        figures["room_mm"] = round(2 * half)
    return Result(f"{_label(settings.kind).capitalize()} under the subject, on {figures['contacts']} points", figures)


def make_top(kind: str, extent: Extent, settings: Settings, seed: int) -> Tabletop:
    """A tabletop by the name of its kind."""
    wear = settings.wear / 100.0
    return planks(extent, Planks(width=settings.board_width, gap=settings.gap, wear=wear), seed=seed)


def _extent(points: Any, views: Any, settings: Settings) -> Extent:
    """As large as a bench, or larger where the subject is; fine where the shots look."""
    size = float(np.ptp(points, axis=0).max())
    spread = float(np.linalg.norm(points[:, :2], axis=1).max())
    scale = max(size / 80.0, 0.25)
    return Extent(
        width=settings.width or max(1000.0, 7.0 * spread, 5.0 * size), depth=settings.depth or max(680.0, 6.0 * spread, 4.0 * size),
        reach=spread + 45.0 * max(scale, 0.6), fine=float(np.clip(0.6 * scale, 0.35, 2.0)), coarse=float(np.clip(9.0 * scale, 6.0, 20.0)),
    )  # fmt: skip


def _room_half(extent: Extent, views: Any) -> float:
    """Far enough that walls stand behind the table and no camera stands in one."""
    farthest = max((float(np.abs(view.position[:2]).max()) for view in views), default=0.0)
    return max(1350.0, 0.9 * extent.width, farthest + 400.0)


def _asked_by_shots(stage: Any) -> set[str]:
    known = {key for key, _, _ in KINDS}
    asked = {str(shot.get(set_parts.SHOT_SET, "")).strip().lower() for shot in stage.find_all("shot").values()}
    for name in sorted(asked - known - {""}):
        stage.warn(f'A shot asks for the set "{name}", which there is not; it gets the job\'s table ({", ".join(sorted(known))})')
    return asked & known


def _label(kind: str) -> str:
    return next((label for key, label, _ in KINDS if key == kind), kind).lower()
