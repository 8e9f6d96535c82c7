"""Sets the table: the surface that the subject stands on, the backdrop, and the props round it."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.arrays import Bools, Floats
from ...core.dressing.background import quiet_arrangement
from ...core.dressing.compose import Bench
from ...core.dressing.in_the_way import stands_behind
from ...core.dressing.props import digest, kinds
from ...core.dressing.tabletops import backdrop as rooms
from ...core.dressing.tabletops.cloth import cloth
from ...core.dressing.tabletops.grid import Extent, Tabletop
from ...core.dressing.tabletops.horizon import ended_at_horizon, horizon_back, seen_width
from ...core.dressing.tabletops.photographed import photo_top, photo_wall
from ...core.dressing.tabletops.planks import Planks, planks
from ...core.dressing.tabletops.round import bat, sweep
from ...core.dressing.tabletops.stone import slate
from ...core.dressing.trades import Largest, Trade, draw, trade_of
from ...core.mesh.triangles import TriangleMesh
from ...core.shots.sight import ShotView, convex_outline, outside_distance
from ...core.srgb import luminance
from ...job.errors import SheetError
from ...job.files.aside import aside
from ...job.notes import several
from ...job.settings import nearest
from ...job.step import Progress, Result, Run
from ...scene.dressing import debris_parts, scale_rule, set_parts, set_props
from ...scene.dressing.photographed import height_over_width, photo_material, photograph
from ...scene.dressing.set_materials import room_materials, table_material
from ...scene.shots.cameras import shot_views, subject_points, with_outlines
from ...scene.shots.moves import move_views
from ...scene.spatial import SurfaceQueries
from ...scene.stage import Stage
from .declared.tabletop import HELD, KINDS, Settings

if TYPE_CHECKING:
    import bpy

BOARD_MM, WIDEST_MM = 88.0, 200.0
"""Width of a board under a piece of 100 mm, in proportion for larger ones, and at most: usual widths (common practice)."""
TALLEST, LARGEST = 0.7, 1.5
"""Largest height of a drawn prop over the subject's, and largest area in the picture over that of the subject's box: some of
the prop lies outside the frame or farther back. Set by eye."""

COVERED, ONE = 0.065, 0.1
"""Largest share of the hero's frame that drawn props cover together, and that the box round one covers that is drawn: beside a
wide piece there are fewer, beside a small one small ones. Set by eye."""

RESERVE = 4
"""How many more props are drawn than are wanted, for those that find no place in the picture."""

SOILED, CLEAN = {"potter": 0.7, "plaster": 0.6}, 0.12
"""How much dry slip or plaster is left on the tools of a trade, and on those of others: where no clay is worked none lies about
(common practice). Set by eye."""

ALLOWED_CHROMA = (4.0, 0.52)
"""Largest chroma C* of a prop: this value or this multiple of the piece's, whichever is more; more colourful ones are tinted
towards the dust's colour, as tools on a bench are. Set by eye."""

ALLOWED_LIGHT = (0.16, 0.85)
"""Largest luminance of a prop: this value or this share of the piece's, whichever is more; lighter ones are darkened. Set by
eye."""

PLACE = "bozzetto_series_place"
"""On a table: the piece's number in a series, if that determined the arrangement; it is kept when the job runs alone."""


def run(stage: Stage, settings: Settings) -> Run:
    yield Progress(0.0, "Looking at the subject's foot and the shots")
    points, foot, views = subject_points(stage), set_parts.subject_foot(stage), shot_views(stage)
    views += move_views(stage, points)
    work = debris_parts.work_on(stage)
    trade = trade_of(work.kind, settings.trade)
    own = settings.kind or trade.table
    extent = _extent(points, views, settings, own)
    tops = [own, *sorted(_asked_by_shots(stage) - {own})]
    number, placed = arrangement(stage, settings)
    seed = stage.seed * 1000 + number
    figures: dict[str, object] = {"kind": own, "trade": trade.key}
    _, tone = debris_parts.body_and_tone(stage, "clay", None)
    reach, depth = 20.0 + 1.6 * foot.reach, _depth(work)
    rises = False
    for place, kind in enumerate(tops):
        yield Progress(0.1 + 0.4 * place / len(tops), f"Making {_label(kind)}")
        making = Progress(0.1 + 0.4 * (place + 0.5) / len(tops), f"Making {_label(kind)}")
        top = yield from aside(partial(make_top, kind, extent, settings, seed, foot), making)
        mesh, materials, support, gap = yield from aside(partial(set_parts.settled_top, top, foot), making)
        if extent.back is not None and kind in ("planks", "cloth", "photo"):
            mesh = yield from aside(partial(ended_at_horizon, mesh, extent.far_y, views), making)
        worn = yield from _worn(stage, settings, materials, (tone, reach, depth), making)
        key = "" if place == 0 else kind
        item = set_parts.make_part("table", mesh, set_parts.materials_named(worn), table=key)
        item[set_parts.ARRANGEMENT], item[set_parts.TRADE] = seed, trade.key
        item[set_parts.TONED] = kind not in ("sweep", "photo")
        if placed is not None:
            item[PLACE] = placed
        set_parts.offer_part(
            stage, "table", set_parts.spare(item, place > 0), key=key, name=f"Table {_label(kind)}" if place else "Table"
        )
        if top.beyond is not None:
            _offer_rise(stage, set_parts.follow(top.beyond, support), worn, key, place)
            rises |= place == 0
        if place == 0:
            surface = yield from aside(partial(SurfaceQueries, mesh.vertices, mesh.faces), making)
            heights = set_parts.heights_of(surface)
            figures |= {
                "rest_gap_mm": round(gap, 5), "contacts": len(support.contacts), "stable": support.stable,
                "tilt_deg": round(float(np.degrees(np.hypot(*support.slope))), 4), "vertices": len(mesh.vertices),
            }  # fmt: skip
    yield Progress(0.55, "Setting up the room behind")
    views = with_outlines(stage, views)
    yield Progress(0.57, "Setting up the room behind")
    if settings.backdrop != "none" and not (rises and len(tops) == 1):
        figures["room_mm"] = yield from _offer_room(stage, settings, extent, views)
    yield Progress(0.7, "Laying props on the table")
    ring = convex_outline(foot.points[:, :2])
    bench = Bench(
        lambda xy: outside_distance(np.asarray(xy, float), ring), foot.reach,
        np.array([0.5 * extent.width, max(extent.far_y, -extent.near_y)]), heights, back=extent.far_y,
    )  # fmt: skip
    drawing = partial(_candidates, settings, trade, work, number=number, deck=stage.seed, largest=_largest_props(points, views))
    laid = yield from _laid_props(stage, settings, drawing, (views, bench, seed, tone, foot), figures)
    things = f", {several(len(laid), 'prop')} round it" if laid else ""
    return Result(f"{_label(own).capitalize()} under the subject, on {figures['contacts']} points{things}", figures)


def _laid_props(
    stage: Stage,
    settings: Settings,
    drawing: Callable[[], list[set_props.Candidate]],
    place: tuple[Any, ...],
    figures: dict[str, object],
) -> Generator[Progress, None, dict[str, bpy.types.Object]]:
    """Offer the props for which there is a place, and a rule for shots that show the size; returns the props by key.

    place: the shots' views, the bench, the seed, the tone of the dust, the subject's foot.
    """
    views, bench, seed, tone, foot = place
    for key, item in scale_rule.laid_rules(stage, foot, bench.heights, tone).items():
        set_parts.offer_part(stage, "prop", item, key=key, name=key.capitalize())
    laying = Progress(0.72, "Laying props on the table")
    candidates = drawing() if settings.collection else (yield from aside(drawing, laying))  # collections: main thread
    if not candidates:
        return {}
    asked = settings.collection or settings.things
    most = np.inf if asked else COVERED
    finding = partial(set_props.found_places, candidates, views, bench, seed=seed, most=most)
    places = yield from aside(partial(finding, wanted=None if asked else settings.props), laying)
    laid = {}
    for key, item in set_props.made_props(places, tone):
        laid[key] = item
        set_parts.offer_part(stage, "prop", item, key=key, name=key.capitalize())
        yield laying
    scale_rule.hide_in(laid.values(), scale_rule.scale_shots(stage))
    figures |= {"props": sorted(laid), "prop_gap_mm": round(max((spot.gap for spot in places), default=0.0), 5)}
    left_out = [candidate.name for candidate in candidates if not any(key.startswith(candidate.name) for key in laid)]
    if left_out and asked:
        stage.note(f"No room in the pictures for {', '.join(left_out)}")
    return laid


def _offer_room(stage: Stage, settings: Settings, extent: Extent, views: Sequence[ShotView]) -> Generator[Progress, None, int]:
    """Offer the room behind the table; returns its width in mm."""
    half = _room_half(extent, views)
    if settings.backdrop == "photo":
        return _offer_photo(stage, settings, half, views)
    making = Progress(0.6, "Setting up the room behind")
    plain = settings.backdrop != "workshop"
    room = yield from aside(
        partial(rooms.plain_wall, half) if plain else partial(_workshop, settings, extent, half, views), making
    )
    item = set_parts.make_part("room", room, room_materials())
    set_parts.only_seen(item)
    item[set_parts.TONED] = True
    set_parts.offer_part(stage, "backdrop", item, key="room", name="Room")
    return round(2 * half)


def _workshop(settings: Settings, extent: Extent, half: float, views: Sequence[ShotView]) -> TriangleMesh:
    """The workshop's walls with what hangs and stands at them, without what would meet the subject's head."""
    scale = _room_scale(views, half)
    parts = rooms.workshop_parts(half, seed=settings.room, scale=scale)
    hides = partial(_table_hides, extent)
    shifts, without = {}, []
    for wall in range(4):
        hung = parts.hung(wall)
        shifts[wall], quiet = quiet_arrangement(list(hung.values()), views, scale=scale, hides=hides)
        without += [group for group, kept in zip(hung, quiet, strict=True) if not kept]
    away = lambda points: any(stands_behind(points, view) for view in views)  # noqa: E731
    return rooms.assembled(parts, shifts=shifts, away=away, without=without)


def _table_hides(extent: Extent, position: Floats, points: Floats) -> Bools:
    """Which points (n, 3) mm the table hides from a lens at (3,) mm."""
    drop = position[2] - points[:, 2]
    below = (points[:, 2] < 0.0) & (position[2] > 0.0)
    met = position[:2] + (position[2] / np.where(below, drop, 1.0))[:, None] * (points[:, :2] - position[:2])
    inside = (np.abs(met[:, 0]) < 0.5 * extent.width) & (met[:, 1] < extent.far_y) & (met[:, 1] > extent.near_y)
    return below & inside


def _offer_rise(stage: Stage, mesh: TriangleMesh, worn: Sequence[str], key: str, place: int) -> None:
    """Offer the part of a sweep of paper that rises behind the subject. worn: the names of its materials."""
    item = set_parts.make_part("rise", mesh, set_parts.materials_named(worn), table=key)
    set_parts.only_seen(item)
    set_parts.offer_part(stage, "backdrop", set_parts.spare(item, place > 0), key=f"rise{place or ''}", name="Paper rise")


def _worn(
    stage: Stage, settings: Settings, names: Sequence[str], look: tuple[Sequence[float], float, float], making: Progress
) -> Generator[Progress, None, list[str]]:
    """Make the materials of a tabletop, each between two looks at the window's events; returns their names in the file.

    look: the dust's albedo, its extent (mm), the factor on the boards' albedo.
    """
    tone, reach, depth = look
    in_file = []
    for name in names:
        yield making
        own = name == "photo"
        material = _photo_of(stage, settings) if own else table_material(name, settings.wear / 100.0, tone, reach, depth=depth)
        in_file.append(material.name)
    yield making
    return in_file


def _photo_of(stage: Stage, settings: Settings) -> bpy.types.Material:
    """The material of a table with the user's photograph. Raises SheetError where none is named."""
    if not settings.photo:
        raise SheetError("tabletop.kind is a photograph, but tabletop.photo names none: choose a picture taken straight down")
    image = photograph(stage.sheet.path(settings.photo), "The table's photograph")
    return photo_material("Table photograph", image, width_mm=settings.photo_width)


def _offer_photo(stage: Stage, settings: Settings, half: float, views: Sequence[ShotView]) -> int:
    """Offer the user's photograph as the backdrop, facing the hero's camera; returns its width in mm."""
    if not settings.backdrop_photo:
        raise SheetError("tabletop.backdrop is a photograph, but tabletop.backdrop_photo names none: choose a picture")
    image = photograph(stage.sheet.path(settings.backdrop_photo), "The backdrop's photograph")
    hero = next((view for view in views if view.kind == "hero"), None)
    ahead = np.array([0.0, 1.0]) if hero is None else hero.axis[:2]
    wall = photo_wall((settings.backdrop_width, settings.backdrop_width * height_over_width(image)), ahead, half)
    item = set_parts.make_part("room", wall, [photo_material("Backdrop photograph", image)], smooth=False)
    set_parts.only_seen(item)
    item[set_parts.TONED] = set_parts.AS_TAKEN
    set_parts.offer_part(stage, "backdrop", item, key="room", name="Room")
    return round(settings.backdrop_width)


def arrangement(stage: Stage, settings: Settings) -> tuple[int, int | None]:
    """The number of the arrangement of boards and props, and the place in a series if it comes from that, else None.

    The number comes from the settings; else it is the same for all pieces that are to be alike; else it is the job's place in
    the series, also when the job runs alone later; else it is derived from the job's name.
    """
    if settings.seed is not None:
        return settings.seed, None
    if settings.series == "alike":
        return HELD, None
    old = None if stage.afresh else stage.find("table", "")
    place = stage.sheet.place if stage.sheet.place is not None or old is None else old.get(PLACE)
    return (digest(stage.sheet.name) % 100_000, None) if place is None else (int(place), int(place))


def _candidates(
    settings: Settings, trade: Trade, work: debris_parts.Work, *, number: int, deck: int, largest: Largest
) -> list[set_props.Candidate]:
    """The user's own props, those named in the settings, or a selection from the trade's bench."""
    if settings.collection:
        return set_props.collected_candidates(settings.collection)
    soiled = SOILED.get(trade.key, CLEAN)
    named = _named(settings.things)
    if named:
        return set_props.made_candidates(named, seed=number, soiled=soiled)
    names = []
    if settings.props:
        names = draw(trade, settings.props, largest, place=number, deck=deck, reserve=RESERVE)
    least, factor = ALLOWED_CHROMA
    darkest, share = ALLOWED_LIGHT
    return set_props.made_candidates(
        names,
        seed=number,
        chroma=max(least, factor * work.chroma),
        light=max(darkest, share * work.light),
        soiled=soiled,
    )


def _largest_props(points: Floats, views: Sequence[ShotView]) -> Largest:
    """How large drawn props may be beside a subject of points (n, 3), mm."""
    wide, high = float(np.ptp(points[:, :2], axis=0).max()), float(points[:, 2].max())
    hero = next((view for view in views if view.kind == "hero"), None)
    if hero is None:
        return Largest(TALLEST * high, LARGEST * wide * high)
    frame = hero.frame_mm**2 * hero.half_slopes[1] / hero.half_slopes[0]
    return Largest(TALLEST * high, min(LARGEST * wide * high, ONE * frame), hero.frame_mm)


def _named(words: str) -> list[str]:
    names = [word.strip().lower() for word in words.split(",") if word.strip()]
    for name in names:
        if name not in kinds():
            raise SheetError(f'tabletop.things knows no "{name}"{nearest(name, list(kinds()))}; there are {", ".join(kinds())}')
    return names


def make_top(kind: str, extent: Extent, settings: Settings, seed: int, foot: set_parts.Foot) -> Tabletop:
    """A new tabletop of a kind."""
    wear = settings.wear / 100.0
    if kind == "photo":
        return photo_top(extent)
    if kind == "sweep":
        return sweep(extent, floor=max(0.75 * extent.width, 6.0 * foot.reach), height=0.9 * extent.width, seed=seed)
    if kind == "cloth":
        ring = convex_outline(foot.points[:, :2])
        scale = extent.reach / 80.0
        return cloth(extent, outside=lambda xy: outside_distance(xy, ring), height=11.0 * max(scale, 0.7) ** 0.5, seed=seed)
    wide = settings.board_width or float(np.clip(BOARD_MM * extent.reach / 100.0, BOARD_MM, WIDEST_MM))
    bench = planks(extent, Planks(width=wide, gap=settings.gap, wear=wear), seed=seed)
    if kind == "slate":
        size = (max(330.0, 4.6 * foot.reach), max(250.0, 3.6 * foot.reach))
        return replace(slate(extent, size, wear=wear, seed=seed), below=bench)
    if kind == "bat":
        return replace(bat(extent, max(230.0, 3.6 * foot.reach), seed=seed, wear=wear), below=bench)
    return bench


DEPTHS, PALE = (0.6, 0.74), (0.10, 0.32)
"""Factors on the boards' albedo for a piece of at least the second luminance, and of at most the first, so that the piece's
outline stands out from the table. Set on the project's own pieces."""


def _depth(work: debris_parts.Work) -> float:
    """The factor on the boards' albedo, by the luminance of the piece."""
    pale = float(luminance(np.array(work.albedo or debris_parts.CLAY)))
    return float(np.interp(pale, PALE, DEPTHS[::-1]))


SLABS = {"slate": 2.2, "bat": 2.0}
"""Extent of a slab behind the subject, as a multiple of the subject's radius."""


def _extent(points: Floats, views: Sequence[ShotView], settings: Settings, kind: str) -> Extent:
    """The table's extent: as large as a bench, or larger for a large subject; with finer triangles near the subject."""
    size = float(np.ptp(points, axis=0).max())
    spread = float(np.linalg.norm(points[:, :2], axis=1).max())
    scale = max(size / 80.0, 0.25)
    depth = settings.depth or max(680.0, 6.0 * spread, 4.0 * size)
    under = SLABS.get(kind, 0.0) * spread
    back = None if settings.depth else horizon_back(views, least=max(1.25 * spread, under) + 25.0)
    return Extent(
        width=settings.width or max(1000.0, 7.0 * spread, 5.0 * size, seen_width(views, back)),
        depth=depth if back is None else max(depth, back + 0.5 * depth), back=back,
        reach=spread + 45.0 * max(scale, 0.6), fine=float(np.clip(0.6 * scale, 0.35, 2.0)),
        coarse=float(np.clip(9.0 * scale, 6.0, 20.0)),
    )  # fmt: skip


ROOM_MM, USUAL_MM = 1350.0, 520.0
"""Half the width of the room behind a small piece, and the distance of its hero's camera."""


def _room_scale(views: Sequence[ShotView], half: float) -> float:
    """The scale of the objects in the room: larger for a piece photographed from farther away.

    Its hero then shows them as large as that of a small piece.
    """
    hero = next((view for view in views if view.kind == "hero"), None)
    return 1.0 if hero is None else max(1.0, (hero.focus_mm + half) / (USUAL_MM + ROOM_MM))


def _room_half(extent: Extent, views: Sequence[ShotView]) -> float:
    """Half the room's width, mm, so that its walls are behind the table and no camera is in one."""
    farthest = max((float(np.abs(view.position[:2]).max()) for view in views), default=0.0)
    return max(ROOM_MM, 0.9 * extent.width, farthest + 400.0)


def _asked_by_shots(stage: Stage) -> set[str]:
    known = {key for key, _, _ in KINDS}
    asked = {str(shot.get(set_parts.SHOT_SET, "")).strip().lower() for shot in stage.find_all("shot").values()}
    for name in sorted(asked - known - {""}):
        stage.warn(
            f'A shot names the set "{name}", which does not exist; it gets the job\'s table ({", ".join(sorted(known))})'
        )
    return asked & known


def _label(kind: str) -> str:
    return next((label for key, label, _ in KINDS if key == kind), kind).lower()
