"""Reads the scan files with their textures and reports what they contain; the files are never changed."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ...core.mesh.triangles import TriangleMesh
from ...core.scan.units import COUNTABLE, MM_PER_UNIT, UnitGuess, guess_unit, texels_per_unit
from ...job.decisions import Decision
from ...job.errors import InputError
from ...job.notes import several
from ...job.step import Progress, Result, Run
from ...scene.meshes import make_object
from ...scene.running.captured import captured
from ...scene.running.start_scene import hide_start_scene
from ...scene.scan.importers import Imported, import_scan
from ...scene.scan.joined_pictures import joined_pictures
from ...scene.scan.questions.picture_choice import NONE, Chosen, Wish, choose_pictures, file_name
from ...scene.scan.questions.size_choices import length_is_known, unit_decision
from ...scene.scan.textures import PARTS, Textures, missing_libraries, scan_material, sizes_of, textures_of
from ...scene.stage import Stage
from ...scene.surface.base_picture import picture_of, plain_colour
from .declared.intake import Scan, Settings

if TYPE_CHECKING:
    import bpy

COARSE = 1e-4
"""Smallest difference of coordinates, as a part of the scan's length, that is reported: 0.01 mm on 100 mm."""
MOST_NAMED = 6
"""The most unused pictures that are named individually."""


def run(stage: Stage, settings: Settings) -> Run:
    """Import each scan, join its parts, find its textures, and offer it unchanged."""
    rows = ordered_rows(settings.scans)
    words: list[str] = []
    figures: dict[str, object] = {"scans": len(rows)}
    decisions: list[Decision] = []
    for place, row in enumerate(rows):
        path = stage.sheet.path(row.file)
        yield Progress(place / len(rows), f'Reading "{path.name}"', blocking=True)
        imported = import_scan(path, allowed=stage.sheet.named_files(), log=stage.notes.write)
        yield Progress((place + 0.7) / len(rows), f'Gathering the textures of "{path.name}"')
        key = str(place + 1)
        chosen = _pictures(stage, settings, row, path, imported, key=key)
        bases = [file_name(texture.images["base"]) if "base" in texture.images else "" for texture in chosen.textures]
        textures = _joined(stage, path, imported, chosen.textures)
        said, found = _offered(stage, settings, row, path, imported, textures, key=key)
        if chosen.decision is not None:
            decisions.append(chosen.decision)
        found["base_pictures"] = bases
        words.append(said)
        if place == 0:
            figures |= found
            decisions.append(_unit(stage, settings, imported))
        else:
            figures |= {f"{name}_{place + 1}": value for name, value in found.items()}
    hide_start_scene(stage)
    return Result("; ".join(words), figures, tuple(decisions))


def _unit(stage: Stage, settings: Settings, imported: Imported) -> Decision:
    """The decision on the main scan's unit."""
    longest = float(imported.mesh.size.max())
    guess = guess_unit(longest, metres_by_format=imported.in_metres)
    known = length_is_known(stage.sheet)
    return unit_decision(longest, guess, settings.unit, in_metres=imported.in_metres, known=known)


def ordered_rows(scans: Sequence[Scan]) -> list[Scan]:
    """The rows with the main scan (the first of the whole or the piece) in front. Raises InputError when there is none."""
    rows = [row for row in scans if row.file.strip()]
    if not rows:
        raise InputError('No scan is named: choose the scan\'s file first (on a sheet: [intake] scan = "FILE")')
    main = next((row for row in rows if row.role in ("whole", "piece")), rows[0])
    return [main, *(row for row in rows if row is not main)]


def _offered(
    stage: Stage, settings: Settings, row: Scan, path: Path, imported: Imported, textures: Sequence[Textures], *, key: str
) -> tuple[str, dict[str, object]]:
    """Make the scan's object, offer it, and return a sentence and figures about it."""
    mesh = imported.mesh
    longest = float(mesh.size.max())
    if longest > 0.0 and not COUNTABLE[0] <= longest <= COUNTABLE[1]:
        raise InputError(
            f'The scan "{path.name}" can\'t be used: it is {longest:.2g} units long, and in no unit is that the size of '
            "a piece; export it again in metres or millimetres"
        )
    materials = _materials(path, imported, textures)
    name = f"Scan {key} {path.stem}"
    item = make_object(name, mesh, materials=materials, of=imported.same_block())
    guess = guess_unit(longest, metres_by_format=imported.in_metres)
    sizes = sizes_of(materials)
    item["bozzetto_scan_role"] = row.role
    item["bozzetto_file"] = path.name
    item["bozzetto_unit_known"] = settings.unit != "auto"
    item["bozzetto_mm_per_unit"] = MM_PER_UNIT.get(guess.unit if settings.unit == "auto" else settings.unit, 0.0)
    item.hide_render = item.hide_viewport = True
    stage.offer("scan", item, key=key, name=name)
    _tell(stage, path, imported, textures)
    density = texels_per_unit(mesh, sizes)
    figures = {
        "triangles": len(mesh.faces),
        "vertices": len(mesh.vertices),
        "parts": imported.parts,
        "longest_units": float(f"{longest:.6g}"),
        "unit_guess": guess.unit,
        "textures": _listed(textures),
        "texels_per_unit": round(density, 4),
        "vertex_colours": bool(mesh.colours),
        "dropped_vertices": imported.dropped_vertices,
        "reflected_parts": imported.reflected,
    }
    if item["bozzetto_mm_per_unit"]:
        figures["texels_per_mm_guess"] = round(density / item["bozzetto_mm_per_unit"], 3)
    return _said(path, mesh, textures, guess, settings.unit, longest), figures


def _pictures(stage: Stage, settings: Settings, row: Scan, path: Path, imported: Imported, *, key: str) -> Chosen:
    """The textures of each material slot, and the decision on them."""
    missing: list[str] = []
    slots = imported.materials or [None]
    if imported.mesh.uv is None:
        if settings.find_textures and not imported.mesh.colours:
            stage.note(f'"{path.name}" has no UVs and no vertex colours, so it comes without colour')
        return Chosen([Textures() for _ in slots])
    allowed = stage.sheet.named_files()
    with captured() as lines:  # decoders print messages on damaged pictures
        textures = [textures_of(material, path, missing=missing, allowed=allowed) for material in slots]
        wish = Wish(
            settings.find_textures, lambda name: {"intake.scans": _rows_with(settings, row, name)}, _by_hand(stage, row, path)
        )
        chosen = choose_pictures(path, imported.mesh, slots, textures, wish=wish, missing=missing)
    for line in lines:
        stage.notes.write(f'"{path.name}": {line}')
    _tell_colourless(stage, path, imported, chosen)
    if chosen.decision is not None and key != "1":
        chosen.decision = dataclasses.replace(chosen.decision, key=f"pictures_{key}")
    for words in dict.fromkeys(missing):
        what = "" if ";" in words else "; put the whole picture beside the scan and load the scans again"
        stage.warn(f'"{path.name}": {words}{what}')
    lost = (
        []
        if any("base" in each.images for each in chosen.textures) or imported.mesh.colours
        else missing_libraries(path, allowed)
    )
    if lost:
        stage.warn(
            f'"{path.name}" comes without colour: the material library "{lost[0]}" that it names is not there; put it and its '
            "pictures beside the scan and load the scans again"
        )
    for words in dict.fromkeys(words for found in textures for words in found.refused):
        stage.warn(f'"{path.name}": {words}')
    _tell_unused(stage, path, imported, chosen)
    return chosen


def _tell_unused(stage: Stage, path: Path, imported: Imported, chosen: Chosen) -> None:
    """Name the pictures that nothing uses; as something to check where a scan has no colour and nothing else was said of it."""
    if not chosen.unused:
        return
    more = f" and {len(chosen.unused) - MOST_NAMED} more" if len(chosen.unused) > MOST_NAMED else ""
    listed = f"{', '.join(chosen.unused[:MOST_NAMED])}{more}"
    coloured = imported.mesh.colours or any("base" in each.images for each in chosen.textures)
    said = " ".join(note.words for note in stage.notes.warnings())  # of a damaged picture more has been said already
    if coloured or chosen.decision is not None or all(entry.split(" (")[0] in said for entry in chosen.unused):
        stage.note(f'"{path.name}": pictures that nothing uses: {listed}')
        return
    stage.warn(
        f'"{path.name}" comes without colour: {listed} can\'t be it; if one of them is, name it as "picture" in the row of '
        "this scan"
    )


def _tell_colourless(stage: Stage, path: Path, imported: Imported, chosen: Chosen) -> None:
    """Say where pictures came with a scan and none is its colour, unless that is asked about or was chosen by hand."""
    decision = chosen.decision
    if decision is None or decision.asked or decision.by_hand or imported.mesh.colours:
        return
    if not any("base" in each.images for each in chosen.textures):
        why = f" ({decision.evidence[0]})" if decision.evidence else ""
        stage.warn(
            f'"{path.name}" comes without colour: {decision.choice.words}{why}; if one of them is, name it as "picture" in the '
            "row of this scan"
        )


def _joined(stage: Stage, path: Path, imported: Imported, textures: list[Textures]) -> list[Textures]:
    """Join the textures of a scan with several base pictures into one set, and adapt its mesh."""
    plain = [plain_colour(material) for material in imported.materials or [None]]
    imported.mesh, joined = joined_pictures(
        imported.mesh, textures, plain, say=lambda words: stage.note(f'"{path.name}": {words}')
    )
    return joined


def _by_hand(stage: Stage, row: Scan, path: Path) -> Path | str | None:
    """The picture named in the row, NONE, or None where there is none. Raises InputError when there is no such file."""
    if not row.picture.strip():
        return None
    if row.picture.strip().lower() == NONE:
        return NONE
    for place in (stage.sheet.path(row.picture), path.parent / row.picture):
        if place.is_file():
            return place
    raise InputError(
        f'There is no picture "{row.picture}" for the scan "{path.name}": write its path from the sheet or beside the scan, '
        f'"{NONE}" for no colour, or leave it out'
    )


def _rows_with(settings: Settings, row: Scan, name: str) -> list[dict[str, str]]:
    """The setting `scans` with this picture in the row; a bare name refers to a file beside the scan."""
    rows = []
    for other in settings.scans:
        written = {"file": other.file, **({"role": other.role} if other.role != "whole" else {})}
        picture = name if other is row else other.picture
        rows.append(written | ({"picture": picture} if picture else {}))
    return rows


def _materials(path: Path, imported: Imported, textures: Sequence[Textures]) -> list[bpy.types.Material]:
    """A material with its textures for each slot."""
    materials = []
    for number, found in enumerate(textures):
        title = f"{path.stem}" if len(textures) == 1 else f"{path.stem} {number + 1}"
        materials.append(scan_material(title, found, colours=bool(imported.mesh.colours)))
        base = picture_of(materials[-1])
        if base is not None:
            base.name = f"{title} base"
    return materials


def _tell(stage: Stage, path: Path, imported: Imported, textures: Sequence[Textures]) -> None:
    """Add notes on what was dropped and found during the import."""
    if imported.dropped_vertices:
        share = 100.0 * imported.dropped_vertices / (imported.dropped_vertices + len(imported.mesh.vertices))
        stage.warn(
            f'"{path.name}" holds {imported.dropped_vertices} vertices whose coordinates are not numbers ({share:.2g} %); '
            "they were dropped with their faces"
        )
    step, longest = imported.step, float(imported.mesh.size.max())
    if longest > 0.0 and step > COARSE * longest:
        stage.warn(
            f'"{path.name}" lies so far from zero that its coordinates have steps of {step:.2g} units, in a scan of '
            f"{longest:.4g}; export it again in a local frame, near zero"
        )
    if imported.stray_faces:
        faces = "a face names a point" if imported.stray_faces == 1 else f"{imported.stray_faces:,} faces name points"
        stage.warn(
            f'"{path.name}": {faces} that the file does not hold, which became holes; export the scan again if they matter'
        )
    if imported.repaired_numbers:
        stage.warn(f'"{path.name}" holds {imported.repaired_numbers} UVs or normals that are not numbers; they count as 0')
    _tell_reflected(stage, path, imported)
    for name, why in imported.left_out:
        stage.warn(f'"{path.name}": the picture "{name}" was left out, since {why}; put a sound one beside the scan')
    if imported.remarks:
        more = f" (and {len(imported.remarks) - 1} more in the log)" if len(imported.remarks) > 1 else ""
        stage.warn(f'"{path.name}" was imported, but Blender\'s importer says: {imported.remarks[0][:200]}{more}')
    by_name = sorted(
        {file_name(image) for each in textures for part, image in each.images.items() if each.found[part] == "name"}
    )
    if by_name:
        stage.note(f'"{path.name}": taken by their names beside the file: {", ".join(by_name)}')


def _tell_reflected(stage: Stage, path: Path, imported: Imported) -> None:
    """Say that the file mirrors its scan; of some parts beside others, as models are made of halves, it is only noted."""
    count = imported.reflected
    if count and count < imported.parts:
        stage.note(
            f'"{path.name}": the file mirrors {several(count, "part")} of {imported.parts} by a negative scale, and so do we'
        )
    elif count:
        stage.warn(
            f'"{path.name}" is mirrored, left for right, by a negative scale in the file, and shown as the file has it: '
            "compare lettering or the hands with the real piece. If they are the wrong way round, make the scale positive in "
            "the program that wrote the file, and export it again"
        )


def _listed(textures: Sequence[Textures]) -> list[str]:
    """The textures with their sizes, such as 'base 2048 x 2048'."""
    held = [(part, each.images[part]) for each in textures for part in PARTS if part in each.images]
    return [f"{part} {image.size[0]} x {image.size[1]}" for part, image in held]


def _said(path: Path, mesh: TriangleMesh, textures: Sequence[Textures], guess: UnitGuess, unit: str, longest: float) -> str:
    colour = "no colour"
    pictures = [words.removeprefix("base ") for words in _listed(textures) if words.startswith("base ")]
    if pictures:
        colour = f"texture{'s' if len(pictures) > 1 else ''} {', '.join(pictures)}"
    elif mesh.colours:
        colour = "vertex colours"
    sides = f"{longest:.4g}"
    sides += " unit" if sides == "1" else " units"
    if unit != "auto":
        size = f"{longest * MM_PER_UNIT[unit]:.4g} mm long"
    elif guess.unit:
        size = f"{sides} long, perhaps {guess.unit} ({guess.longest_mm:.0f} mm)"
    else:
        size = f"{sides} long, which fits no usual unit"
    return f"{path.name}: {len(mesh.faces):,} triangles, {colour}, {size}"
