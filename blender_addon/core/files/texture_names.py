"""What does a picture file's name say about what it holds, and about which mesh or material it belongs to?

A name is a hint, never more: what the picture holds decides (`core/surface/picture_content`, `core/surface/picture_roles`).
The words are those that glTF 2.0, OBJ's material library and USD's preview surface write, and plain English ones.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from pathlib import PurePath

PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".exr", ".tga", ".bmp", ".webp", ".jp2")

WORDS: dict[str, tuple[str, ...]] = {
    "base": (
        "basecolor", "basecolour", "base", "albedo", "diffuse", "diffusecolor", "color", "colour", "colors", "colours", "kd",
        "photo", "painted",
    ),
    "normal": ("normal", "normals", "norm", "normalmap"),
    "bent_normal": ("bentnormal", "bentnormals", "bent"),
    "object_normal": ("objectnormal", "objectnormals", "worldnormal", "worldnormals", "objectspace", "worldspace"),
    "roughness": ("roughness", "rough", "gloss", "glossiness", "shininess", "smoothness", "pr"),
    "metallic": ("metallic", "metalness", "metallicroughness", "metal", "pm"),
    "occlusion": ("occlusion", "ambientocclusion", "ao"),
    "height": ("height", "heights", "displacement", "bump", "depth"),
    "thickness": ("thickness", "thick", "translucency", "translucent", "transmission", "subsurface"),
    "curvature": ("curvature", "cavity", "cavities", "convexity", "concavity", "crevice", "crevices"),
    "position": ("position", "positions", "coordinates"),
    "opacity": ("opacity", "alpha", "transparency", "transparent"),
    "mask": ("mask", "masks", "matte", "selection", "id", "ids", "weights", "segmentation"),
    "emission": ("emission", "emissive", "emissivecolor", "glow", "ke"),
    "specular": (
        "specular", "specularcolor", "specularity", "reflection", "reflections", "reflectance", "ks", "clearcoat",
        "sheen",
    ),
    "lightmap": ("lightmap", "lighting", "shadow", "shadows"),
    "layout": ("uv", "uvs", "layout", "wireframe", "wire", "template", "unwrap", "checker", "grid"),
    "view": (
        "preview", "thumb", "thumbnail", "render", "rendering", "screenshot", "snapshot", "screen", "background", "backdrop",
        "icon", "logo", "label", "reference", "cover", "poster", "turntable", "environment", "sky", "panorama",
    ),
}  # fmt: skip
"""From what a picture holds to the words that name it. Words such as "map", "texture", "image" say nothing. A view is a
photograph or rendering of the piece, not a texture."""

ROLES = tuple(WORDS)
SILENT = frozenset(
    ("map", "maps", "texture", "textures", "tex", "image", "picture", "img", "file", "final", "copy", "new", "old")
)
"""Words that neither name a role nor tell one picture from another."""

_ROLE_OF = {word: role for role, words in WORDS.items() for word in words}
_LONG = sorted((word for word in _ROLE_OF if len(word) >= 6), key=len, reverse=True)
"""Words long enough to be seen in a name that is written in one piece ('owlbasecolor'), the longest first."""
_PAIRS = (
    ("base", "color"), ("base", "colour"), ("diffuse", "color"), ("ambient", "occlusion"), ("bent", "normal"),
    ("bent", "normals"), ("object", "normal"), ("object", "normals"), ("world", "normal"), ("world", "normals"),
    ("object", "space"), ("world", "space"), ("metallic", "roughness"), ("specular", "color"), ("emissive", "color"),
    ("normal", "map"), ("light", "map"),
)  # fmt: skip
_OUTWEIGHS = {
    "bent_normal": ("normal",), "object_normal": ("normal",), "metallic": ("roughness",), "specular": ("base",),
    "emission": ("base",), "layout": ("base", "normal"), "view": ("base",), "mask": ("base", "opacity"),
    "thickness": ("base",), "curvature": ("base",), "occlusion": ("base",), "roughness": ("base",),
    "height": ("normal", "base"),
    "position": ("base",), "opacity": ("base",), "lightmap": ("base",), "normal": (),
}  # fmt: skip
"""From a role to those that it overrides: 'specular color' is not a base colour, a 'bent normal' no normal map, a 'color mask'
a mask. 'base normal' is in doubt both ways, so that content decides."""


def words_of(name: str) -> list[str]:
    """The lower-case words of a file name without its suffix: 'Owl_BaseColor-2k' gives owl, basecolor, 2k."""
    stem = PurePath(name).stem
    stem = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", "_", stem).lower()
    parts = [part for part in re.split(r"[^a-z0-9]+", stem) if part]
    place = 0
    while place < len(parts) - 1:
        if (parts[place], parts[place + 1]) in _PAIRS:
            parts[place : place + 2] = [parts[place] + parts[place + 1]]
        else:
            place += 1
    return parts


def roles_named(name: str, *, subject: Iterable[str] = ()) -> tuple[str, ...]:
    """The roles (`ROLES`) that a file's name speaks of, none where no word does; several where they contradict each other.

    subject: words of the mesh's and material's own names, which do not count (a mesh called 'normal_owl').
    """
    known = set(subject)
    found: list[str] = []
    for part in words_of(name):
        role = "" if part in known else _role_of_word(part, known)
        if role and role not in found:
            found.append(role)
    narrowed = {other for role in found for other in _OUTWEIGHS.get(role, ())}
    return tuple(role for role in found if role not in narrowed)


def _role_of_word(word: str, subject: set[str]) -> str:
    plain = re.sub(r"\d+$", "", word)
    role = _ROLE_OF.get(word) or _ROLE_OF.get(plain, "")
    if role or len(plain) < 7:
        return role
    for own in sorted(subject, key=len, reverse=True):  # 'owlbasecolor' of a mesh called 'owl'
        if len(own) > 2 and plain.startswith(own) and _ROLE_OF.get(plain[len(own) :]):
            return _ROLE_OF[plain[len(own) :]]
    return next((_ROLE_OF[part] for part in _LONG if plain.endswith(part) or plain.startswith(part)), "")


def relation(name: str, *, mesh: str, material: str = "", others: Iterable[str] = (), words: Collection[str] = ()) -> float:
    """How a picture's name is related to a mesh file and a material: 2 where it shares words with the material's name, 1 with
    the mesh's, 0 with none, -1 where it shares words with other materials' or meshes' names (`others`) alone.

    Words that name a role, sizes ('2k', '4096') and words that say nothing are no relation. words: `telling_words` of further
    names, for a caller that asks about many pictures.
    """
    own = telling_words(name)
    if own & telling_words(material + ".x"):
        return 2.0
    if own & telling_words(mesh):
        return 1.0
    elsewhere = set(words).union(*(telling_words(other) for other in others)) - telling_words(mesh)
    return -1.0 if own & elsewhere else 0.0


def telling_words(name: str) -> set[str]:
    """The words of a file name that tell one picture or mesh from another."""
    return {
        word
        for word in words_of(name)
        if word not in _ROLE_OF and word not in SILENT and not re.fullmatch(r"\d+k?|x|u\d+v?\d*", word)
    }


def series_of(name: str) -> str:
    """The name without its last number: pictures 'IMG_2031', 'IMG_2032' are of one series, 'img_#'; '' where it has none."""
    stem = PurePath(name).stem.lower()
    numbered = re.sub(r"\d+(?=\D*$)", "#", stem)
    return numbered if numbered != stem else ""
