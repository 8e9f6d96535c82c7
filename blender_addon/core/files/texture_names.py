"""Which picture files beside a mesh are its textures? By the words in their names, as programs write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import PurePath

PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".exr", ".tga", ".bmp", ".webp", ".jp2")

WORDS: dict[str, tuple[str, ...]] = {
    "base": (
        "basecolor", "basecolour", "albedo", "diffuse", "diff", "color", "colour", "col", "rgb", "base", "texture",
        "textured", "tex", "map", "kd", "photo", "d",
    ),
    "normal": ("normal", "normals", "normalmap", "normalgl", "normalopengl", "nrm", "nor", "norm", "nmap", "n"),
    "normal_flipped": ("normaldx", "normaldirectx"),
    "roughness": ("roughness", "rough", "rgh", "r"),
    "occlusion": ("occlusion", "ambientocclusion", "ao", "occ"),
    "other": (
        "metallic", "metalness", "metal", "height", "displacement", "disp", "specular", "spec", "gloss", "glossiness",
        "opacity", "alpha", "emission", "emissive", "mask", "bump", "thumb", "thumbnail", "preview", "depth", "orm", "arm",
        "id", "curvature", "cavity", "background", "snapshot", "screenshot", "icon", "label", "logo",
    ),
}  # fmt: skip
"""Part of a surface to the words that name it: common practice among file names of textures."""

_ROLE_OF = {word: role for role, words in WORDS.items() for word in words}


def words_of(name: str) -> list[str]:
    """The lower-case words of a file name without its suffix: 'Owl_BaseColor-2k' gives owl, basecolor, 2k."""
    stem = PurePath(name).stem
    stem = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", stem).lower()
    parts = [part for part in re.split(r"[^a-z0-9]+", stem) if part]
    for pair in (("base", "color"), ("base", "colour"), ("ambient", "occlusion"), ("normal", "map"), ("normal", "gl"),
                 ("normal", "dx"), ("normal", "opengl"), ("normal", "directx")):  # fmt: skip
        for place in range(len(parts) - 1):
            if tuple(parts[place : place + 2]) == pair:
                parts[place : place + 2] = ["".join(pair)]
                break
    return parts


def role_of(name: str, *, subject: Sequence[str] = ()) -> str:
    """What a picture shows by its name: 'base', 'normal', 'normal_flipped', 'roughness', 'occlusion', 'other', or '' when
    no word says.

    subject: words of the mesh's or material's own name, which do not count (a mesh called 'normal_owl').
    """
    parts = [part for part in words_of(name) if part not in subject] or words_of(name)
    for part in reversed(parts):  # the last telling word wins: 'color_chart_normal' is a normal map
        role = _ROLE_OF.get(part) or _ROLE_OF.get(re.sub(r"\d+$", "", part))
        if role:
            return role
    return ""


def find_textures(files: Sequence[str], *, mesh: str, material: str = "", alone: bool = True) -> dict[str, str]:
    """The textures of a material among the names of picture files in the mesh's folder: part to file name.

    mesh: the mesh file's name. material: the material's name, which counts more than the mesh's. alone: no other mesh lies in
    the folder and the mesh has one material, so that a picture which names neither may still be taken.
    Of several candidates the one that shares most of its words with the names wins, then the shorter, then the earlier name.
    """
    own, other = set(words_of(mesh)), set(words_of(material + ".x") if material else ())
    plain = own | other
    best: dict[str, tuple[tuple[float, int, str], str]] = {}
    for name in sorted(files):
        if PurePath(name).suffix.lower() not in PICTURES:
            continue
        parts = set(words_of(name))
        role = role_of(name, subject=sorted(plain))
        related = 2.0 * len(parts & other) + len(parts & own)
        if not related and not alone:
            continue
        if role == "other" or (not role and not related and not alone):
            continue
        role = role or "base"
        strangers = len({part for part in parts - plain if part not in _ROLE_OF})
        rank = (-(related - 0.5 * strangers), len(name), name)
        if role not in best or rank < best[role][0]:
            best[role] = (rank, name)
    return {role: name for role, (_, name) in best.items()}
