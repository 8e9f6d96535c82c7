"""Aligns further scans with the first by rotation, translation and scale, and judges how sure the fit is."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.mesh.similarity import Similarity, angle_between
from ...core.mesh.triangles import TriangleMesh
from ...core.scan.registration import (
    NO_FIT,
    SURE,
    Candidate,
    Registration,
    Surfels,
    from_pairs,
    overlay,
    register,
    sample_surfels,
    turned_about,
)
from ...core.srgb import decode, encode
from ...job.decisions import Alternative, Decision
from ...job.errors import OutputError, SubjectError
from ...job.files.aside import aside
from ...job.step import Progress, Result, Run
from ...scene.delivery.contact_sheet import save_png
from ...scene.meshes import MM, make_object, read_mesh
from ...scene.running.session import whole_file
from ...scene.stage import Stage
from ...scene.thumbnails import paint_of, vertex_colours
from .declared.registration import Choice, Pair, Settings

if TYPE_CHECKING:
    import bpy

PARTIAL = ("stand", "piece")
"""Roles of scans that show only a part of what the first scan shows."""
PICTURE, MOST_SHOWN = 112, 6
"""Height in pixels of the picture of a possible fit, and the most fits that are shown."""
SURE_CONFIDENCE = 0.98
"""Confidence in a fit that is called sure: none of the hundred or so of `bench registration` was wrong."""
KEPT_PROPERTIES = ("bozzetto_scan_role", "bozzetto_file")


def run(stage: Stage, settings: Settings) -> Run:
    """Align every further scan to the first."""
    further = [key for key in stage.find_all("clean") if key != "1"]
    _check_keys(settings, further)
    if not further:
        return Result("There is one scan, so nothing had to be aligned", {"scans": 0})
    yield Progress(0.05, "Reading the first scan")
    upright = stage.require("upright")
    first, colour = yield from _read(upright, MM, Progress(0.07, "Reading the first scan"))
    upright = stage.require("upright")
    matrix = np.array(upright.get("bozzetto_matrix", np.eye(4).ravel()), float).reshape(4, 4)
    matrix[:3] *= MM
    figures: dict[str, object] = {"scans": len(further)}
    words, decisions = [], []
    for place, key in enumerate(further):
        start, width = 0.1 + 0.85 * place / len(further), 0.85 / len(further)
        yield Progress(start, f"Reading scan {key}")
        reading = Progress(start + 0.1 * width, f"Reading scan {key}")
        mesh, own_colour = yield from _read(stage.require("clean", key), 1.0, reading)
        role = stage.require("clean", key).get("bozzetto_scan_role", "whole")
        looking = Progress(start + 0.2 * width, f"Looking for the place of scan {key}")
        pairs = [row for row in settings.pairs if row.scan == key]
        if pairs:
            search = partial(_by_pairs, first, mesh, pairs, matrix, key, role, stage.seed)
        else:
            search = partial(_by_itself, first, mesh, colour, own_colour, role, stage.seed)
        found = yield from aside(search, looking)
        chosen = [row for row in settings.choices if row.scan == key and not pairs]  # with picked pairs there is only one fit
        used = _used(found, chosen, key)
        yield Progress(start + 0.8 * width, f"Storing the fits of scan {key}")
        figures |= _figures(found, used, key)
        words.append(_sentence(stage, found, used, key))
        drawing = Progress(start + 0.9 * width, f"Drawing how scan {key} lies")
        looks = yield from aside(partial(_looks, (first, colour), (mesh, own_colour)), drawing)
        decisions.append((yield from aside(partial(_decision, settings, looks, found, used, key), drawing)))
        overlays = yield from aside(partial(_overlays, stage, looks, found), drawing)
        _keep_pictures(stage, overlays, key)
        if used is not None:
            _offer(stage, mesh, used, found, key)
    return Result("; ".join(words), figures, tuple(decisions))


def _read(
    item: bpy.types.Object, scale: float, reading: Progress
) -> Generator[Progress, None, tuple[TriangleMesh, Floats | None]]:
    """An object's mesh and the linear colour of each vertex, None without colour."""
    mesh = read_mesh(item, scale=scale)
    mesh = replace(mesh, colours={name: values for name, values in mesh.colours.items() if name != "bozzetto_stand"})
    if not len(mesh.faces):
        raise SubjectError(f'"{item.name}" has no faces, so nothing can be aligned to it')
    shown = yield from aside(partial(vertex_colours, paint_of(item), mesh), reading)
    return replace(mesh, vertices=mesh.vertices.astype(float)), None if shown is None else decode(shown)


def _by_itself(
    first: TriangleMesh, mesh: TriangleMesh, colour: Floats | None, own_colour: Floats | None, role: str, seed: int
) -> Registration:
    return register(first, mesh, seed=seed, partial=role in PARTIAL, fixed_colour=colour, moving_colour=own_colour)


def _by_pairs(
    first: TriangleMesh, mesh: TriangleMesh, pairs: list[Pair], matrix: Floats, key: str, role: str, seed: int
) -> Registration:
    if len(pairs) < 3 or any(row.on_further is None or row.on_first is None for row in pairs):
        raise SubjectError(f"Scan {key} needs three matching spots, each marked on both scans; there are fewer")
    source = np.array([row.on_further for row in pairs], float)
    target = np.array([row.on_first for row in pairs], float) @ matrix[:3, :3].T + matrix[:3, 3]
    try:
        return from_pairs(first, mesh, source, target, seed=seed, partial=role in PARTIAL)
    except ValueError as error:
        raise SubjectError(f"The matching spots of scan {key} can't place it: {error}; mark spots that lie far apart") from None


def _used(found: Registration, chosen: list[Choice], key: str) -> Candidate | None:
    """The pose to use: a sure one, or the one that the user chose; else None."""
    if not chosen or found.verdict == NO_FIT:
        return found.best if found.verdict == SURE else None
    row = chosen[-1]
    if row.candidate > len(found.candidates):
        raise SubjectError(
            f"Scan {key} has {len(found.candidates)} possible fits to choose from, so there is no number {row.candidate}"
        )
    candidate = found.candidates[row.candidate - 1]
    if not row.turn:
        return candidate
    if found.axis is None:
        raise SubjectError(
            f"Scan {key} can't be turned about an axis, so no turn can be chosen for it; set its candidate alone"
        )
    return replace(candidate, pose=turned_about(candidate.pose, *found.axis, row.turn))


def _figures(found: Registration, used: Candidate | None, key: str) -> dict[str, object]:
    best = used or found.best
    figures: dict[str, object] = {
        f"verdict_{key}": found.verdict,
        f"reason_{key}": found.reason,
        f"used_{key}": used is not None,
    }
    if best is not None:
        figures |= {
            f"rms_mm_{key}": round(best.evidence.rms, 4),
            f"overlap_percent_{key}": round(100.0 * best.evidence.matched, 1),
            f"disagree_percent_{key}": round(100.0 * best.evidence.against, 2),
            f"mm_per_unit_{key}": best.pose.scale,
            f"pose_{key}": [round(float(value), 9) for value in best.pose.matrix.ravel()],
        }
    if len(found.candidates) > 1:
        first = found.candidates[0].pose.rotation
        figures[f"candidates_{key}"] = [
            {"number": number, "turned_deg": round(angle_between(first, candidate.pose.rotation), 1),
             "scale": round(candidate.pose.scale, 6), "rms_mm": round(candidate.evidence.rms, 4),
             "overlap_percent": round(100.0 * candidate.evidence.matched, 1),
             "pose": [round(float(value), 9) for value in candidate.pose.matrix.ravel()]}
            for number, candidate in enumerate(found.candidates, 1)
        ]  # fmt: skip
    if found.axis is not None:
        figures[f"turn_axis_{key}"] = [round(float(value), 6) for value in found.axis[0]]
    return figures


def _sentence(stage: Stage, found: Registration, used: Candidate | None, key: str) -> str:
    """The sentence about one scan; adds a warning if its fit is not used."""
    if used is not None:
        return f"Scan {key} lies on the first with {used.evidence.rms:.3f} mm RMS ({found.verdict}: {found.reason})"
    cure = "mark the same three spots on both scans"
    if found.verdict != NO_FIT and len(found.candidates) > 1:
        turned = " and how far it is turned on" if found.axis is not None else ""
        cure = f"choose one of its {len(found.candidates)} possible fits{turned}, or {cure}"
    said = f"Scan {key}: {found.verdict}, {found.reason}"
    stage.warn(f"{said}; so it is not used. To use it, {cure}")
    return said


Looks = tuple[Surfels, Surfels]
"""Points with display colours of the first scan, and of a further one in its file's coordinates, for drawing."""


def _looks(first: tuple[TriangleMesh, Floats | None], further: tuple[TriangleMesh, Floats | None]) -> Looks:
    fixed, moving = (
        sample_surfels(mesh, 20000, seed=seed, colour=None if colour is None else encode(colour))
        for seed, (mesh, colour) in enumerate((first, further), 1)
    )
    return fixed, moving


def _moved(moving: Surfels, candidate: Candidate) -> Surfels:
    return replace(
        moving, points=candidate.pose.apply(moving.points), normals=candidate.pose.turn(moving.normals),
        spacing=moving.spacing * candidate.pose.scale,
    )  # fmt: skip


def _decision(settings: Settings, looks: Looks, found: Registration, used: Candidate | None, key: str) -> Decision:
    """The decision on a further scan's pose; if it is not sure, the scan is left out and its possible fits are alternatives."""
    others = [{"scan": row.scan, "candidate": row.candidate, "turn": row.turn} for row in settings.choices if row.scan != key]
    chosen = [row.candidate for row in settings.choices if row.scan == key]
    by_hand = used is not None and (bool(chosen) or any(row.scan == key for row in settings.pairs))

    def way(number: int, candidate: Candidate) -> Alternative:
        picture = overlay(looks[0], _moved(looks[1], candidate), pixels=PICTURE, laid_over=True)
        shown = np.rint(255.0 * np.clip(picture[::-1], 0.0, 1.0)).astype(np.uint8)
        words = f"possible fit {number}" if candidate is not used else "as it fits"
        return Alternative(words, {"registration.choices": [*others, {"scan": key, "candidate": number}]}, shown)

    fits = tuple(
        way(number, candidate) for number, candidate in enumerate(found.candidates[:MOST_SHOWN], 1) if candidate is not used
    )
    choice = way(chosen[-1] if chosen else 1, used) if used is not None else Alternative("left out for now")
    sure = SURE_CONFIDENCE if found.verdict == SURE else 1.0 / (1 + len(found.candidates))
    question = f"How does scan {key} lie on the first?"
    return Decision("fit_" + key, question, choice, sure, (found.reason,), fits, by_hand)


def _overlays(stage: Stage, looks: Looks, found: Registration) -> list[Floats]:
    """A picture of the overlaid scans for each possible fit, at most four; none without an output folder."""
    if stage.out is None:
        return []
    return [overlay(looks[0], _moved(looks[1], candidate)) for candidate in found.candidates[:4]]


def _keep_pictures(stage: Stage, pictures: list[Floats], key: str) -> None:
    """Write the overlays into the job's folder at the swap; does nothing without an output folder."""
    folder = stage.out
    if folder is None:
        return
    for number, picture in enumerate(pictures, 1):
        name = f"registration_{key}.png" if len(pictures) == 1 else f"registration_{key}_{number}.png"
        stage.at_swap(partial(_write, stage, picture, folder / name))


def _write(stage: Stage, picture: Floats, path: Path) -> None:
    """Write a picture; a failure is reported without undoing the step."""
    try:
        with whole_file(path) as draft:
            save_png(picture[::-1, :, :3], draft)
    except OutputError as error:
        stage.warn(str(error))


def _offer(stage: Stage, mesh: TriangleMesh, used: Candidate, found: Registration, key: str) -> None:
    """Offer the scan with its pose applied, in metres."""
    clean = stage.require("clean", key)
    placed = used.pose.apply(mesh.vertices) / MM
    item = make_object(
        f"Aligned {key}", replace(mesh, vertices=placed.astype(np.float32)), materials=list(clean.data.materials)
    )
    for title in KEPT_PROPERTIES:
        if title in clean:
            item[title] = clean[title]
    metres = Similarity(used.pose.scale / MM, used.pose.rotation, used.pose.translation / MM)
    item["bozzetto_matrix"] = metres.matrix.ravel().tolist()
    item["bozzetto_rms_mm"], item["bozzetto_verdict"] = used.evidence.rms, found.verdict
    item.hide_render = item.hide_viewport = True
    stage.offer("aligned", item, key=key, name=f"Aligned {key}")


def _check_keys(settings: Settings, further: list[str]) -> None:
    for row in (*settings.pairs, *settings.choices):
        if row.scan not in further:
            there = f"the further scans are {', '.join(further)}" if further else "there is no further scan"
            raise SubjectError(f'There is no further scan "{row.scan}" to place: {there}')
