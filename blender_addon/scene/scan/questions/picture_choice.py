"""Finds a scan's colour and other maps among the pictures beside it where the file names none, by file name and content.

The files are ranked by name first; only the likeliest are opened, and those are examined at a reduced size.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PureWindowsPath
from typing import Any

import bpy
import numpy as np

from ....core.arrays import Bools, Floats
from ....core.files.meshes.mesh_files import FORMATS
from ....core.files.texture_names import relation, roles_named, series_of, telling_words, words_of
from ....core.mesh.triangles import TriangleMesh
from ....core.records import record
from ....core.surface.cavity import cavity
from ....core.surface.normal_maps import green_down
from ....core.surface.picture_content import (
    Fit,
    Layout,
    Pixels,
    fit_of,
    layout_of,
    pixels_of,
    quick_fit_of,
)
from ....core.surface.picture_roles import ROLE_WORDS, Candidate, Choice, Judged, choose, judge, looks_like_colour
from ....job.decisions import Alternative, Decision, Picture
from ...images import look_at, release
from ..textures import PARTS, Textures, load_picture, pictures_beside

NONE = "none"
"""The setting's value for a scan without colour."""
MOST_LOOKED = 12
"""The most pictures that are opened for a material slot."""
LOOKED_PX, SHOWN_PX = 512, 128
"""Longest side at which a picture is judged, and at which it is shown."""
MOST_SHOWN = 5
"""Alternatives that are offered at most."""
WITHIN = ".glb"
"""The format whose pictures lie within the file, so that another mesh's can't have come in their place."""
RECESS_MM = 100.0
"""The longest side (mm) to which a mesh is scaled when its recesses are computed: a small object, a guess."""


@dataclass
class Chosen:
    """textures: of each material slot. unused: a description of each unused picture. decision: on the colour, or None."""

    textures: list[Textures]
    unused: list[str] = field(default_factory=list)
    decision: Decision | None = None


@dataclass
class _Looked:
    """An opened picture. shown: (h, w, 4) float stored values, reduced, row 0 at the bottom."""

    image: bpy.types.Image
    shown: Floats


class _Scan:
    """One scan file's mesh, slots and pictures while they are being sorted."""

    def __init__(self, path: Path, mesh: TriangleMesh, materials: Sequence[bpy.types.Material | None], missing: list[str]):
        self.path, self.mesh, self.missing = path, mesh, missing
        self.beside: list[Path] = []
        """Pictures that might be meant though the file does not name them."""
        self.names = [_plain_name(material) for material in materials]
        self.subject = {*words_of(path.name), *(word for name in set(self.names) for word in words_of(name + ".x"))}
        self._words = Counter(word for name in self.names for word in telling_words(name + ".x"))
        self.looked: dict[str, _Looked] = {}
        self._layouts: dict[int, Layout | None] = {}
        self._pixels: dict[str, Pixels] = {}
        self._seen: dict[tuple[str, int], tuple[Pixels, Fit | None]] = {}
        self._recess: Any = None

    def layout(self, slot: int) -> Layout | None:
        """The UV layout of the faces of a slot."""
        if slot not in self._layouts:
            self._layouts[slot] = layout_of(self.mesh, self._used(slot))
        return self._layouts[slot]

    def words_of_others(self, slot: int) -> set[str]:
        """The telling words of the names of all materials but this one."""
        own = telling_words(self.names[slot] + ".x")
        return {word for word, count in self._words.items() if count > (word in own)}

    def _used(self, slot: int) -> Bools:
        own = self.mesh.material
        return np.ones(len(self.mesh.faces), bool) if own is None or len(self.names) == 1 else own == slot

    def recess(self, layout: Layout) -> Floats:
        """(n,) depth in recesses at the layout's sample points."""
        if self._recess is None:
            size = max(float(self.mesh.size.max()), 1e-12)
            self._recess = cavity(self.mesh.vertices * (RECESS_MM / size), self.mesh.faces)
        return np.einsum("nk,nk->n", self._recess[layout.vertex], layout.weight)

    def look(self, image: bpy.types.Image) -> _Looked | None:
        """An image, reduced; None where it has no pixels."""
        if image.name not in self.looked:
            if not image.size[0]:
                return None
            self.looked[image.name] = _Looked(image, look_at(image, LOOKED_PX))
            release(image)
        return self.looked[image.name]

    def seen(self, candidate: Candidate, image: bpy.types.Image, slot: int) -> Candidate:
        """The candidate completed with the measures of its picture."""
        looked = self.look(image)
        if looked is None:
            return candidate
        if (image.name, slot) not in self._seen:
            pixels = self._pixels[image.name] = self._pixels.get(image.name) or pixels_of(looked.shown)
            within = candidate.stated == "base" and not self.beside and self.path.suffix.lower() == WITHIN
            if within and looks_like_colour(pixels):  # the mesh's own, unless it maps places: nothing else could refuse it
                self._seen[image.name, slot] = pixels, quick_fit_of(looked.shown, self.mesh, self._used(slot))
            else:
                self._seen[image.name, slot] = pixels, self._fit(looked.shown, pixels, slot)
        pixels, fit = self._seen[image.name, slot]
        return Candidate(
            candidate.name, candidate.stated, candidate.named, candidate.relation, candidate.alike, candidate.alone,
            tuple(image.size), pixels, fit,
        )  # fmt: skip

    def _fit(self, shown: Floats, pixels: Pixels, slot: int) -> Fit | None:
        layout = self.layout(slot)
        if layout is None:
            return None
        return fit_of(shown, layout, recess=(lambda: self.recess(layout)) if pixels.grey else None)


@record
class Wish:
    """The user's settings for a scan's pictures.

    by_name: also consider pictures that the file does not name. settings_for: function from a picture's name, or NONE, to the
    settings that choose it. by_hand: the picture that the user named, NONE for no colour, or None.
    """

    by_name: bool
    settings_for: Callable[[str], Mapping[str, object]]
    by_hand: Path | str | None = None


def choose_pictures(
    path: Path,
    mesh: TriangleMesh,
    materials: Sequence[bpy.types.Material | None],
    textures: list[Textures],
    *,
    wish: Wish,
    missing: list[str],
) -> Chosen:
    """Complete the textures of a scan's slots, in place, and return the choice.

    path: the scan file. mesh: its triangles with UVs. materials, textures: those that the file itself names, one per slot.
    missing: messages on damaged pictures are appended to it.
    """
    by_hand = wish.by_hand
    scan = _Scan(path, mesh, materials, missing)
    scan.beside = beside = _not_named(path, textures) if wish.by_name else []
    for slot, found in enumerate(textures):
        _check_stated(scan, found, slot)
    stated = [("base" in found.images) for found in textures]
    loaded: dict[str, bpy.types.Image] = {}
    choices = [_choice(scan, slot, found, beside, loaded) for slot, found in enumerate(textures)]
    for slot, (found, choice) in enumerate(zip(textures, choices, strict=True)):
        _fill(scan, found, choice, beside, loaded)
        if by_hand is not None and (not stated[slot] or all(stated)):
            _by_hand(found, by_hand, missing)
    decision = _decision(scan, textures, choices, by_hand, wish.settings_for)
    unused = _unused(textures, choices, beside)
    used = {image.name for found in textures for image in found.images.values()}
    for image in loaded.values():
        if image.name not in used:
            bpy.data.images.remove(image)
    return Chosen(textures, unused, decision)


def _check_stated(scan: _Scan, found: Textures, slot: int) -> None:
    """Leave out, with a message, pictures whose content does not fit their use in the material; detect -Y normal maps."""
    for part in ("base", "normal"):
        image = found.images.get(part)
        if image is None:
            continue
        if part == "normal":
            image.colorspace_settings.name = "Non-Color"
        judged = judge(scan.seen(Candidate(file_name(image), stated=part), image, slot))
        if part == "base" and judged.odds <= 0:
            _refuse(found, part, f"is named as the colour, but {judged.why[-1]}, so it is left out")
        elif part == "normal" and judged.role != "normal":
            why = "perhaps a grey bump map" if judged.role != "object_normal" else "its normals are those of space"
            _refuse(found, part, f"is no tangent-space normal map ({why}), so it is left out")
        elif part == "normal":
            looked = scan.look(image)
            found.flipped = bool(looked is not None and green_down(looked.shown))


def _refuse(found: Textures, part: str, words: str) -> None:
    image = found.images.pop(part)
    found.found.pop(part)
    found.others[part] = image
    found.refused.append(f'"{file_name(image)}" {words}')


def _not_named(path: Path, textures: Sequence[Textures]) -> list[Path]:
    """The pictures beside a scan that none of its materials names."""
    named = {file_name(image) for found in textures for image in (*found.images.values(), *found.others.values())}
    return [file for file in pictures_beside(path) if file.name not in named]


def _choice(scan: _Scan, slot: int, found: Textures, beside: Sequence[Path], loaded: dict[str, bpy.types.Image]) -> Choice:
    """The roles of the pictures that a slot could use."""
    candidates = _named_candidates(scan, slot, beside)
    looked = []
    likely = sorted(candidates, key=lambda candidate: -judge(candidate).odds)
    open_roles = {role for role in ("base", "normal") if role not in found.images}
    room = MOST_LOOKED
    firsts: set[str] = set()
    for candidate in likely:
        series = series_of(candidate.name)
        wanted = bool(open_roles & set(candidate.named)) or ("base" in open_roles and not candidate.named)
        if candidate.alike >= 3 and series in firsts:
            wanted = False  # one picture represents its whole series
        if wanted and room > 0:
            room -= 1
            firsts.add(series)
            candidate = _opened(scan, slot, candidate, beside, loaded)
        looked.append(candidate)
    if "base" in found.images:
        image = found.images["base"]
        looked.append(scan.seen(Candidate(file_name(image), stated="base"), image, slot))
    return choose(looked)


def _named_candidates(scan: _Scan, slot: int, beside: Sequence[Path]) -> list[Candidate]:
    material, meshes = scan.names[slot], _other_meshes(scan.path)
    others = scan.words_of_others(slot)
    series = Counter(series_of(file.name) for file in beside)
    found = []
    for file in beside:
        named = roles_named(file.name, subject=scan.subject)
        if not named and file.stem.lower() != scan.path.stem.lower():  # else it only has the scan's own name
            named = roles_named(file.name)
        alike = series[series_of(file.name)] - 1 if series_of(file.name) and not named else 0
        near = relation(file.name, mesh=scan.path.name, material=material, others=meshes, words=others)
        alike = alike if alike >= len(scan.names) else 0
        found.append(Candidate(file.name, "", named, near, alike, not meshes and len(scan.names) == 1))
    return found


def _opened(
    scan: _Scan, slot: int, candidate: Candidate, beside: Sequence[Path], loaded: dict[str, bpy.types.Image]
) -> Candidate:
    """A candidate completed with the measures of its file; unchanged where the file can't be read."""
    if candidate.name not in loaded:
        held = Textures()
        file = next(file for file in beside if file.name == candidate.name)
        if not load_picture(held, "base", file, "name", scan.missing):
            return candidate
        loaded[candidate.name] = held.images["base"]
    return scan.seen(candidate, loaded[candidate.name], slot)


def _fill(scan: _Scan, found: Textures, choice: Choice, beside: Sequence[Path], loaded: dict[str, bpy.types.Image]) -> None:
    """Fill a slot's missing maps with the chosen pictures."""
    for part in PARTS:
        if part in found.images:
            continue
        judged = choice.base if part == "base" else choice.of_role(part)
        if judged is None or judged.candidate.relation < 0 or (part == "base" and judged.candidate.stated):
            continue
        name = judged.candidate.name
        if part != "base" and not judged.candidate.alone and judged.candidate.relation <= 0:
            continue  # beside other meshes, a map whose name does not match this one may belong to them
        if name in loaded:
            found.images[part], found.found[part] = loaded[name], "name"
        elif not load_picture(found, part, next(file for file in beside if file.name == name), "name", scan.missing):
            continue
        if part == "normal":
            found.images[part].colorspace_settings.name = "Non-Color"
            looked = scan.look(found.images[part])
            found.flipped = bool(looked is not None and green_down(looked.shown))


def _by_hand(found: Textures, by_hand: Path | str, missing: list[str]) -> None:
    found.images.pop("base", None)
    found.found.pop("base", None)
    if isinstance(by_hand, Path):
        load_picture(found, "base", by_hand, "hand", missing)


def _decision(
    scan: _Scan,
    textures: Sequence[Textures],
    choices: Sequence[Choice],
    by_hand: Path | str | None,
    settings_for: Callable[[str], Mapping[str, object]],
) -> Decision | None:
    judged = {
        entry.candidate.name: entry for choice in choices for entry in choice.judged if entry.candidate.pixels is not None
    }
    if not judged and by_hand is None:
        return None
    names = list(dict.fromkeys(file_name(found.images["base"]) for found in textures if "base" in found.images))
    words = " and ".join(f'"{name}"' for name in names)
    chosen = Alternative(
        f"the colour is {words}" if names else "no picture is its colour",
        settings_for(names[0] if names else NONE),
        _thumbnail(scan, names[0]) if names else None,
    )
    others = sorted((entry for entry in judged.values() if entry.candidate.name not in names), key=lambda entry: -entry.odds)
    alternatives = [
        Alternative(
            f'the colour is "{other.candidate.name}"',
            settings_for(other.candidate.name),
            _thumbnail(scan, other.candidate.name),
        )
        for other in others[:MOST_SHOWN]
    ]
    if names:
        alternatives.append(Alternative("no picture is its colour", settings_for(NONE)))
    best = [judged[name] for name in names if name in judged]
    evidence = [f'"{entry.candidate.name}": {why}' if len(best) > 1 else why for entry in best for why in entry.why]
    if not names:
        evidence = [f'"{other.candidate.name}": {", ".join(other.why)}' for other in others[:MOST_SHOWN] if other.why]
    return Decision(
        "pictures",
        f'Which picture is the colour of "{scan.path.name}"?',
        chosen,
        1.0 if by_hand is not None else min((choice.confidence for choice in choices), default=1.0),
        tuple(evidence),
        tuple(alternatives),
        by_hand is not None,
    )


def _thumbnail(scan: _Scan, name: str) -> Picture | None:
    """A small version of an opened picture, row 0 on top."""
    looked = next((entry for entry in scan.looked.values() if file_name(entry.image) == name), None)
    if looked is None:
        return None
    step = -(-max(looked.shown.shape[:2]) // SHOWN_PX)
    small = looked.shown[::-step, ::step, :3]
    return np.round(255.0 * np.clip(small, 0.0, 1.0)).astype(np.uint8)


def _unused(textures: Sequence[Textures], choices: Sequence[Choice], beside: Sequence[Path]) -> list[str]:
    """The name and role of each unused picture, as in '"x.png" (thickness)'."""
    used = {file_name(image) for found in textures for image in found.images.values()}
    role: dict[str, Judged] = {}
    for choice in choices:
        for entry in choice.judged:
            if entry.candidate.name not in role or (entry.role and not role[entry.candidate.name].role):
                role[entry.candidate.name] = entry
    left = [file.name for file in beside if file.name not in used]
    words = [f'"{name}" ({ROLE_WORDS.get(role[name].role, "") if name in role else "unknown"})' for name in left]
    for found in textures:
        for part, image in found.others.items():
            if file_name(image) not in used:
                words.append(f'"{file_name(image)}" ({ROLE_WORDS.get(part, part if part != image.name else "unknown")})')
    return list(dict.fromkeys(words))


def _other_meshes(path: Path) -> list[str]:
    try:
        return [other.name for other in path.parent.iterdir() if other.suffix.lower() in FORMATS and other.name != path.name]
    except OSError:
        return []


def file_name(image: bpy.types.Image) -> str:
    """The name of an image's file; the image's own name where it was embedded in another file."""
    return PureWindowsPath(image.filepath).name or str(image.name)


def _plain_name(material: bpy.types.Material) -> str:
    """A material's name without the number that Blender appends."""
    if material is None:
        return ""
    name = str(material.name)
    return name[:-4] if len(name) > 4 and name[-4] == "." and name[-3:].isdigit() else name
