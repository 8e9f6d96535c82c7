"""Recovers fine relief that the photo texture still shows and the mesh has lost."""

from __future__ import annotations

from collections.abc import Generator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.srgb import luminance
from ...core.surface.bandpass import band_pass
from ...core.surface.normal_maps import (
    encode,
    from_tangent_space,
    reoriented,
    slopes_from_raster,
    tangent_frames,
    tangent_space,
)
from ...core.surface.relief.bands import band_maps
from ...core.surface.relief.finer import Base
from ...core.surface.relief.following import ALL_RELIEF, FINE_IS_PAINT
from ...core.surface.relief.own_map import OwnForm, added_by_photo, slopes_of_normals
from ...core.surface.relief.recovery import Photographed, Recovery, recover
from ...core.surface.relief.sides import remarks, side_ratios
from ...core.surface.texels import extend, surface_frames
from ...core.surface.textured_surface import TexturedSurface
from ...job.decisions import Decision
from ...job.files.aside import aside, aside_steps
from ...job.step import Progress, Result, Run
from ...scene.images import make_image
from ...scene.meshes import MM, read_mesh
from ...scene.stage import Stage
from ...scene.surface.dropped_triangles import dropped_triangles
from ...scene.surface.finer_relief import finer_relief
from ...scene.surface.light_decisions import PAINT, PAINTED_MARKS, PHOTO, RELIEF_MARKS, paint_decision, shading_decision
from ...scene.surface.photographed import has_normal_map, own_normals, reading, shared_share, unpictured
from .declared.relief import Settings

if TYPE_CHECKING:
    import bpy

SHAPE_KEY = "Relief"
SAID_MARKS = {"auto": None, RELIEF_MARKS: ALL_RELIEF, PAINTED_MARKS: FINE_IS_PAINT}
MARGIN = 8  # texels by which the maps are extended beyond the UV islands
DEPTH_MM = 0.35  # height in mm per e-fold of brightness in the band-pass effect, which is not a measurement
FINEST_TEXEL_MM = 0.055  # finer textures are processed at half their size, since photo blur is wider


def run(stage: Stage, settings: Settings) -> Run:
    """Offer a height image in mm and a normal image for the piece, if its texture shows relief."""
    yield Progress(0.0, "Reading the texture of the piece")
    item = stage.require("piece")
    stand = stage.find("stand")
    working = Progress(0.05, "Reading the texture of the piece")
    occluders = (stand,) if stand else ()
    _take_shape_key_away(stage)
    found = yield from reading(item, working, finest_texel_mm=FINEST_TEXEL_MM, occluders=occluders)
    if not isinstance(found, str) and found.surface.on_vertices and has_normal_map(item):
        found = "has no photo texture, and its vertex colours are coarser than its normal map"
    if isinstance(found, str):
        return (yield from _own_form_alone(stage, found, working))
    if found.surface.on_vertices and settings.method == "band":
        return Result("No relief: the band-pass effect needs a texture image", {"found": False})
    sharing = partial(shared_share, read_mesh(stage.require("piece")))
    shared = 0.0 if found.surface.on_vertices else (yield from aside(sharing, working))
    if shared > 0.02:
        stage.warn(f"{100 * shared:.0f} % of the texture is shared by several places of the piece; relief is left out there")
    own = yield from _own_form(stage, found.surface)
    if settings.shading == PAINT and settings.method == "light":
        return Result("No relief, as asked: the texture is taken as paint alone", {"found": False})
    if settings.method == "band":
        return (yield from _effect(stage, found, own, settings))
    result = yield from _measured(stage, found, own, settings)
    return result


def _own_form_alone(stage: Stage, why: str, progress: Progress) -> Generator[Progress, None, Result]:
    """Shows the fine form that the scan itself holds where no photo adds to it. why: the end of a sentence "The piece ..."."""
    surface = yield from unpictured(stage.require("piece"), progress, finest_texel_mm=FINEST_TEXEL_MM)
    own = None if surface is None else (yield from _own_form(stage, surface))
    if surface is None or own is None:
        stage.note(f"The piece {why}: there is no relief to recover")
        return Result(f"No relief: the piece {why}", {"found": False})
    yield from _offer_own(stage, surface, own)
    return Result(f"The scan's own fine form alone: the piece {why}", {"found": False, "own_form": True})


def _offer_own(stage: Stage, surface: TexturedSurface, own: OwnForm) -> Generator[Progress, None, None]:
    """Offer the maps of the scan's own fine form, to which no photo adds anything."""
    none = np.zeros(len(surface), np.float32)
    facts = {"trusted_mm": float("inf"), "strength": 1.0, "found": False}
    yield from _offer(stage, surface, none, np.zeros((len(surface), 3), np.float32), own, facts)
    stage.note("What the scan itself holds (a normal map, triangles that were thinned away) is all the fine relief there is")


def _own_form(stage: Stage, surface: TexturedSurface) -> Generator[Progress, None, OwnForm | None]:
    """The fine form of a normal map that came with the scan, laid onto that of the triangles that thinning took away."""
    mapped = own_normals(stage.require("piece"), surface)
    dropped = yield from dropped_triangles(stage, surface, Progress(0.08, "Reading the full scan"))
    if dropped is None:
        return None if mapped is None else OwnForm(mapped, np.zeros(len(surface), np.float32))
    normals, height_mm = dropped
    return OwnForm(normals if mapped is None else reoriented(normals, mapped).astype(np.float32), height_mm)


def _effect(stage: Stage, found: Photographed, own: OwnForm | None, settings: Settings) -> Generator[Progress, None, Result]:
    surface = found.surface
    finest = settings.finest or 4 * surface.texel_mm
    largest = max(settings.largest, 2 * finest)
    mask = surface.texels.mask()
    bright = surface.texels.scatter(np.log(np.maximum(luminance(found.colours), 0.01)))
    fine, coarse = (wavelength / (2 * np.pi) / surface.texel_mm for wavelength in (finest, largest))
    heights = DEPTH_MM * np.clip(band_pass(bright, fine, coarse, mask=mask), -0.7, 0.7)
    along_u, along_v = surface_frames(surface.vertices, surface.faces, surface.uv)
    slopes = slopes_from_raster(surface.texels, heights, along_u, along_v)
    strength = 1.0 if settings.strength is None else settings.strength
    heights = heights.reshape(-1)[surface.texels.index]
    facts = {"trusted_mm": float(finest), "strength": float(strength), "found": True}
    yield from _offer(stage, surface, heights, slopes, own, facts)
    return Result(
        f"Band-pass effect between {finest:.2f} and {largest:.1f} mm: not a measurement",
        {
            "found": True,
            "trusted_mm": round(finest, 3),
            "strength": strength,
            "height_std_mm": round(float(np.std(heights)), 5),
        },
    )


def _measured(stage: Stage, found: Photographed, own: OwnForm | None, settings: Settings) -> Generator[Progress, None, Result]:
    others = [found]
    for key, item in stage.find_all("aligned").items():
        if item.get("bozzetto_scan_role") == "stand":
            continue
        other = yield from reading(item, Progress(0.1, f"Reading the texture of scan {key}"), finest_texel_mm=FINEST_TEXEL_MM)
        if isinstance(other, str):
            stage.note(f"Scan {key} {other}, so it adds nothing to the relief")
        else:
            others.append(other)
    said = SAID_MARKS[settings.marks]
    work = recover(
        others, largest_mm=settings.largest, seed=stage.seed, as_photos=settings.shading == PHOTO, marks=said,
        calm_lumps=settings.calm_lumps,
    )  # fmt: skip
    recovery: Recovery = yield from aside_steps(work, lambda fraction, words: Progress(0.1 + 0.75 * fraction, words))
    yield Progress(0.9, "Making the maps")
    result = yield from _kept(stage, found.surface, recovery, own, settings, len(others))
    return result


def _kept(
    stage: Stage, surface: TexturedSurface, recovery: Recovery, own: OwnForm | None, settings: Settings, textures: int
) -> Generator[Progress, None, Result]:
    decisions = _decisions(recovery, settings)
    figures = {
        "found": recovery.found,
        "lit": round(recovery.lit, 3),
        "textures": textures,
        "light_explained": round(recovery.light[0].light.explained, 3),
        "shaded": round(recovery.shaded, 3),
        "trust": round(recovery.trust, 3),
        "marks_kept": [round(kept, 3) for kept in recovery.marks.kept],
        "texel_mm": round(surface.texel_mm, 4),
        "own_form": own is not None,
    }
    if not recovery.found and own is not None:
        yield from _offer_own(stage, surface, own)
    if not recovery.found and recovery.lit == 0 and settings.shading == "auto":
        stage.note("The texture shows no light (it is not a photo, or its light was taken out), so no relief is taken from it")
        return Result("No relief: the texture holds no light", figures, decisions)
    if not recovery.found and recovery.shaded < 0.5:
        stage.note("The texture shows what no light makes (grain, a dark print): that is paint, so no relief is taken from it")
        return Result("No relief: the texture shows paint rather than shading", figures, decisions)
    if not surface.on_vertices and recovery.found:
        yield from _offer_shading(stage, surface, recovery)
    if not recovery.found:
        stage.note("The texture shows no relief that stands out from its noise, so none is added")
        return Result("No relief stands out from the texture's noise", figures, decisions)
    strength = recovery.strength if settings.strength is None else settings.strength
    facts = {"trusted_mm": float(recovery.trusted_mm), "strength": float(strength), "found": True}
    if surface.on_vertices:
        _as_shape_key(stage, surface, recovery.relief.height_mm, strength)
    else:
        slopes, heights = recovery.relief.slope, recovery.relief.height_mm
        if own is not None:
            slopes, heights = yield from aside(
                partial(_beside, surface, own, slopes, heights), Progress(0.9, "Making the maps")
            )
        yield from _offer(stage, surface, heights, slopes, own, facts, recovery)
    figures |= {"trusted_mm": round(facts["trusted_mm"], 3), "strength": round(strength, 3)}
    figures |= {key: round(facts[key], 3) for key in ("finer_kept",) if key in facts}
    figures |= _sides(stage, surface, recovery)
    if recovery.lumps:
        figures["lumps_calmed"] = round(recovery.lumps, 3)
        stage.note(
            f"{100 * recovery.lumps:.0f} % of the mesh's own fine relief are lumps that the photo does not show; they are "
            "calmed in the relief"
        )
    figures["height_std_mm"] = round(float(np.std(recovery.relief.height_mm)), 5)
    tilt = np.degrees(np.arctan(np.linalg.norm(recovery.relief.slope, axis=1)))
    figures["median_tilt_deg"] = round(float(np.median(tilt)), 3)
    return Result(f"Recovered relief down to {facts['trusted_mm']:.2f} mm, shown at {strength:.2f}", figures, decisions)


def _sides(stage: Stage, surface: TexturedSurface, recovery: Recovery) -> dict[str, float]:
    """The ratio of relief on opposite sides, as figures; adds a note where they differ much."""
    ratios = side_ratios(surface.normal, recovery.relief.slope)
    for words in remarks(ratios):
        stage.note(words)
    return {f"{side}_over_{other}": round(ratio, 3) for (side, other), ratio in ratios.items()}


def _decisions(recovery: Recovery, settings: Settings) -> tuple[Decision, ...]:
    """The decision whether the texture is a photo, and, if so, whether it shows relief or paint."""
    best = max((lit.evidence for lit in recovery.light), key=lambda entry: entry.trust)
    shading = shading_decision(best, settings.shading)
    if recovery.lit == 0 and settings.shading != PHOTO:
        return (shading,)
    return shading, paint_decision(recovery, settings.strength, settings.marks)


def _beside(surface: TexturedSurface, own: OwnForm, slopes: Floats, heights: Floats) -> tuple[Floats, Floats]:
    """The part of the photo's relief that the scan's own form lacks: slopes and heights."""
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    normals = from_tangent_space(surface.texels, frames, surface.normal, own.normals)
    return added_by_photo(surface, slopes_of_normals(surface.normal, normals), slopes, heights)


def _offer(
    stage: Stage, surface: TexturedSurface, heights: Floats, slopes: Floats, own: OwnForm | None, facts: dict[str, float],
    recovery: Recovery | None = None,
) -> Generator[Progress, None, None]:  # fmt: skip
    """Offer the maps. With the scan's own form both are combined at the advised strength, which then becomes 1.

    recovery: what was read from the photo, to be followed as far as its full texture goes; None where nothing was. Enters the
    finest wave and what is kept of it into `facts`.
    """
    making = Progress(0.92, "Making the maps")
    maps, said = yield from aside(lambda: _maps(surface, heights, slopes, own, facts), making)
    if recovery is not None:
        base = Base(surface, recovery, maps[1], facts["strength"] if own is not None else 1.0)
        finer = yield from finer_relief(stage.require("piece"), base, making, seed=stage.seed)
        if finer is not None:
            maps[1] = finer.normals
            facts |= {"trusted_mm": finer.finest_mm, "finer_kept": finer.kept}
            said = facts | {"strength": said["strength"]}
    for role, values in zip(("relief_height", "relief_normal", "relief_middle", "relief_broad"), maps, strict=True):
        name = role.replace("_", " ").capitalize()
        yield Progress(0.93, "Packing the maps", blocking=True)
        image = make_image(name, values, data=True, floating=True)
        for fact, value in said.items():
            image[fact] = value
        stage.offer(role, image, key="piece", name=name)
        yield making


def _maps(
    surface: TexturedSurface, heights: Floats, slopes: Floats, own: OwnForm | None, facts: dict[str, float]
) -> tuple[list[Floats], dict[str, float]]:
    """(height map, normal map, slopes without the fine relief, broad slopes), extended beyond the islands; and their facts."""
    mask = surface.texels.mask()
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    if own is None:
        tilted = tangent_space(surface.texels, frames, surface.normal, slopes)
    else:
        detail = tangent_space(surface.texels, frames, surface.normal, slopes, facts["strength"])
        tilted, heights = reoriented(own.normals, detail), heights * facts["strength"] + own.height_mm
        facts = facts | {"strength": 1.0}
    normals = surface.texels.scatter(encode(tilted))
    normals[~mask] = (0.5, 0.5, 1.0)
    bands = band_maps(normals, mask, surface.texel_mm)
    return [*(extend(values, mask, MARGIN) for values in (surface.texels.scatter(heights), normals)), *bands], facts


def _offer_shading(stage: Stage, surface: TexturedSurface, recovery: Recovery) -> Generator[Progress, None, None]:
    """The factor by which the relief's shading multiplies the smooth light: the albedo step divides by it."""

    def raster() -> Floats:
        factor = np.exp(recovery.shaded * recovery.relief.shade)  # reduced by its uncertainty already
        values = extend(surface.texels.scatter(factor), surface.texels.mask(), MARGIN)
        values[values == 0] = 1.0
        return values

    values = yield from aside(raster, Progress(0.9, "Making the maps"))
    yield Progress(0.91, "Packing the maps", blocking=True)
    image = make_image("Relief shading", values, data=True, floating=True)
    stage.offer("relief_shading", image, key="piece", name="Relief shading")


def _take_shape_key_away(stage: Stage) -> None:
    """Request that the shape key of an earlier run is taken off the piece; relief that is found again makes a new one."""
    piece = stage.require("piece")
    keys = piece.data.shape_keys
    if keys is None or SHAPE_KEY not in keys.key_blocks:
        return

    def take(item: bpy.types.Object) -> None:
        item.shape_key_remove(item.data.shape_keys.key_blocks[SHAPE_KEY])
        if len(item.data.shape_keys.key_blocks) == 1:
            item.shape_key_clear()  # the basis came with it

    stage.edit(piece, take)


def _users_strength(stage: Stage) -> float | None:
    """The value that the user gave the shape key of an earlier run; None where there is none or it is as it was left."""
    keys, step = stage.require("piece").data.shape_keys, stage.step.name if stage.step else ""
    key = keys.key_blocks.get(SHAPE_KEY) if keys else None
    given = stage.results().get(step, {}).get("figures", {}).get("strength")
    if key is None or given is None or stage.afresh or abs(key.value - given) < 1e-3:  # figures are rounded
        return None
    return float(key.value)


def _as_shape_key(stage: Stage, surface: TexturedSurface, heights: Floats, strength: float) -> None:
    """Add relief recovered from vertex colours as a shape key of the piece, since it is no finer than the vertices."""
    moved = surface.vertices.copy()
    rows, theirs = surface.texels.index, _users_strength(stage)
    if theirs is not None:
        stage.note(f'Kept the shape key "{SHAPE_KEY}" at {theirs:.2f}, as you set it', level="kept")
    moved[rows] += heights[:, None] * surface.vertex_normal[rows]

    def change(piece: bpy.types.Object) -> None:
        if piece.data.shape_keys is None:
            piece.shape_key_add(name="Basis", from_mix=False)
        key = piece.shape_key_add(name=SHAPE_KEY, from_mix=False)
        inverse = np.linalg.inv(np.array(piece.matrix_world, float))
        local = (moved / MM) @ inverse[:3, :3].T + inverse[:3, 3]
        key.data.foreach_set("co", local.astype(np.float32).ravel())
        key.slider_max = 3.0
        key.value = strength if theirs is None else theirs

    stage.edit(stage.require("piece"), change)
    stage.note(f'The relief of the vertex colours is the shape key "{SHAPE_KEY}" of the piece')
