"""Is a glTF file valid? Numbers, bounds, references between its tables and pictures, checked before Blender imports it.

The importer fails with a traceback on a wrong number, allocates whatever a table announces, and walks the node tree by
recursion. glTF 2.0 specification (Khronos), chapter 5, says what each table holds.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from .draco import check_draco
from .gltf import AGAIN, DRACO, MESHOPT, Gltf, embedded, is_embedded, view_bytes
from .ply import FileProblem

PARTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
SIZES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}
KINDS = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
"""Numbers in each type of accessor; bytes and dtype of each component type (Khronos glTF 2.0, 3.6.2.2)."""
DEEPEST = 200
"""Levels of nodes within nodes; the importer recurses."""
MOST_TRIANGLES = 200_000_000
"""Triangles of all parts together, those shown several times counted each time: far beyond any scan, and what a small file
that repeats itself can announce."""
_BEYOND = f"its tables reach beyond its data; {AGAIN}"


def check_gltf(gltf: Gltf) -> int:
    """The number of triangles of all parts together. Raises FileProblem where the file would not import, announces data that
    it does not hold, or lacks what it needs."""
    _check_version(gltf)
    _refuse_unreadable_pictures(gltf)
    primitives = list(_primitives(gltf))
    if not primitives:
        raise FileProblem("it holds no mesh; export the scan again")
    for number in range(len(gltf.rows("buffers"))):
        _check_buffer(gltf, number)
    for number, view in enumerate(gltf.rows("bufferViews")):
        _check_view(gltf, view, f"bufferViews[{number}]")
    for number, accessor in enumerate(gltf.rows("accessors")):
        _check_accessor(gltf, accessor, f"accessors[{number}]")
    for words, primitive in primitives:
        _check_primitive(gltf, primitive, words)
    _bound_those_without_data(gltf, [primitive for _, primitive in primitives])
    _check_textures(gltf)
    _check_extensions(gltf)
    if all(primitive.get("mode", 4) < 4 for _, primitive in primitives):
        raise FileProblem("it holds points or lines but no faces; export the scan as a mesh, not as a point cloud")
    return _check_nodes(gltf)


def uses_meshopt(gltf: Gltf) -> bool:
    """Whether any of its data are packed with meshopt compression."""
    required = any("meshopt" in name.lower() for name in _names(gltf, "extensionsRequired"))
    return required or any(set(view.get("extensions") or {}) & set(MESHOPT) for view in gltf.rows("bufferViews"))


def uses_draco(gltf: Gltf) -> bool:
    """Whether any of its meshes is packed with Draco compression."""
    return any(DRACO in (primitive.get("extensions") or {}) for _, primitive in _primitives(gltf))


def lacks_without(gltf: Gltf, extension: str) -> bool:
    """Whether a mesh packed by an extension is there in no other form."""
    accessors = gltf.rows("accessors")
    packed = [primitive for _, primitive in _primitives(gltf) if extension in (primitive.get("extensions") or {})]
    positions = (primitive["attributes"]["POSITION"] for primitive in packed if "POSITION" in primitive.get("attributes", {}))
    return any("bufferView" not in accessors[place] for place in positions)


# --- numbers ---------------------------------------------------------------------------------------------------------------


def _whole(table: dict[str, Any], key: str, words: str, default: int | None = None, *, least: int = 0) -> int:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value < 1 << 53:
        shown = f"{value!r:.40}"
        raise FileProblem(f"its description is damaged ({words} has {key} = {shown}); {AGAIN}")
    return value


def _index(table: dict[str, Any], key: str, count: int, words: str) -> int:
    value = _whole(table, key, words)
    if value >= count:
        raise FileProblem(f"its description is damaged ({words} names {key} {value}, and there are {count}); {AGAIN}")
    return value


def _table(table: dict[str, Any], key: str, words: str) -> dict[str, Any]:
    value = table.get(key)
    if value is None:
        return {}
    if not isinstance(value, dict):
        raise FileProblem(f"its description is damaged ({key} of {words} is not a table); {AGAIN}")
    return value


def _names(gltf: Gltf, key: str) -> list[str]:
    value = gltf.content.get(key) or []
    if not isinstance(value, list):
        raise FileProblem(f'its description is damaged ("{key}" is not a list); {AGAIN}')
    return [str(name) for name in value]


# --- tables ----------------------------------------------------------------------------------------------------------------


def _check_version(gltf: Gltf) -> None:
    asset = gltf.content.get("asset")
    version = asset.get("version") if isinstance(asset, dict) else None
    if version != "2.0":
        said = f"says glTF {version!r:.20}" if version is not None else "says no version"
        raise FileProblem(f"its description {said}, only 2.0 can be read; export the scan again")


def _check_extensions(gltf: Gltf) -> None:
    """Every required extension must be listed as used, too (glTF 2.0 specification, 3.12)."""
    unlisted = sorted(set(_names(gltf, "extensionsRequired")) - set(_names(gltf, "extensionsUsed")))
    if unlisted:
        words = ", ".join(unlisted)[:80]
        raise FileProblem(f"its description is damaged (it requires {words}, which it does not list as used); export it again")


def _refuse_unreadable_pictures(gltf: Gltf) -> None:
    if "KHR_texture_basisu" in _names(gltf, "extensionsRequired"):
        raise FileProblem(
            "its pictures are packed as KTX2 (KHR_texture_basisu), which Blender can't read; "
            "export the scan again with PNG or JPEG pictures"
        )


def _primitives(gltf: Gltf) -> Iterator[tuple[str, dict[str, Any]]]:
    for number, mesh in enumerate(gltf.rows("meshes")):
        rows = mesh.get("primitives")
        if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
            raise FileProblem(f"its description is damaged (meshes[{number}] has no list of primitives); {AGAIN}")
        for place, primitive in enumerate(rows):
            yield f"meshes[{number}].primitives[{place}]", primitive


def _check_buffer(gltf: Gltf, number: int) -> None:
    buffer = gltf.rows("buffers")[number]
    length = _whole(buffer, "byteLength", f"buffers[{number}]", least=1)
    uri = buffer.get("uri")
    if uri is None:
        if _is_fallback(buffer):
            return
        binary = gltf.length if number == 0 else 0
        if length > binary + 3:
            raise FileProblem(f"its data chunk is cut short ({binary} of {length} bytes); {AGAIN}")
        return
    if not isinstance(uri, str):
        raise FileProblem(f"its description is damaged (the address of buffers[{number}] is not text); {AGAIN}")
    if is_embedded(uri):
        if len(embedded(uri)) < length:
            raise FileProblem(f"the data written into its description are cut short; {AGAIN}")
        return
    reference = gltf.follow(uri)
    if reference.refused:
        raise FileProblem(
            f'the data file "{uri:.80}" that it names can\'t be used: {reference.refused}; put it beside the scan'
        )
    if reference.path is None:
        raise FileProblem(f'the file "{uri:.80}" that it needs is missing; put it beside it, or export as GLB')
    if reference.path.stat().st_size < length:
        raise FileProblem(f'the file "{uri:.80}" that it needs is cut short; {AGAIN}')


def _is_fallback(buffer: dict[str, Any]) -> bool:
    """Whether a buffer only stands for what meshopt compression will unpack."""
    own = buffer.get("extensions") or {}
    return isinstance(own, dict) and any(isinstance(own.get(name), dict) and own[name].get("fallback") for name in MESHOPT)


def _check_view(gltf: Gltf, view: dict[str, Any], words: str) -> None:
    packed = _table(view, "extensions", words)
    name = next((name for name in MESHOPT if name in packed), None)
    for part in (view, *([_table(packed, name, words)] if name else [])):
        buffers = gltf.rows("buffers")
        buffer = buffers[_index(part, "buffer", len(buffers), words)]
        end = _whole(part, "byteOffset", words, 0) + _whole(part, "byteLength", words, least=1)
        if end > buffer["byteLength"]:
            raise FileProblem(_BEYOND)
        if "byteStride" in part:
            _whole(part, "byteStride", words, least=1 if name else 4)


def _check_accessor(gltf: Gltf, accessor: dict[str, Any], words: str) -> None:
    count = _whole(accessor, "count", words, least=1)
    offset = _whole(accessor, "byteOffset", words, 0)
    kind, parts = accessor.get("componentType"), accessor.get("type")
    if type(kind) is not int or kind not in SIZES or type(parts) is not str or parts not in PARTS:
        raise FileProblem(f"its description is damaged ({words} is of an unknown type); {AGAIN}")
    item = PARTS[parts] * SIZES[kind]
    if accessor.get("sparse") is not None:
        _check_sparse(gltf, _table(accessor, "sparse", words), count, item, words)
    if "bufferView" not in accessor:
        return  # zeros, or what is packed elsewhere: `_check_primitive` bounds the count
    views = gltf.rows("bufferViews")
    view = views[_index(accessor, "bufferView", len(views), words)]
    needed = offset + (view.get("byteStride") or item) * (count - 1) + item
    if needed > view["byteLength"]:
        raise FileProblem(_BEYOND)


def _check_sparse(gltf: Gltf, sparse: dict[str, Any], count: int, item: int, words: str) -> None:
    changed = _whole(sparse, "count", words, least=1)
    views = gltf.rows("bufferViews")
    if changed > count:
        raise FileProblem(_BEYOND)
    for key in ("indices", "values"):
        part = _table(sparse, key, words)
        view = views[_index(part, "bufferView", len(views), words)]
        if key == "indices" and part.get("componentType") not in (5121, 5123, 5125):
            raise FileProblem(f"its description is damaged ({words} is of an unknown type); {AGAIN}")
        size = SIZES[part["componentType"]] if key == "indices" else item
        if _whole(part, "byteOffset", words, 0) + changed * size > view["byteLength"]:
            raise FileProblem(_BEYOND)


def _check_primitive(gltf: Gltf, primitive: dict[str, Any], words: str) -> None:
    accessors = gltf.rows("accessors")
    attributes = _table(primitive, "attributes", words)
    if _whole(primitive, "mode", words, 4) > 6:
        raise FileProblem(f"its description is damaged ({words} is of an unknown kind); {AGAIN}")
    packed = DRACO in _table(primitive, "extensions", words)
    if "POSITION" not in attributes:
        return  # the specification has such parts left out
    position = accessors[_index(attributes, "POSITION", len(accessors), words)]
    if position["type"] != "VEC3":
        raise FileProblem(f"its description is damaged (the positions of {words} are not points); {AGAIN}")
    counts = {accessors[_index(attributes, name, len(accessors), words)]["count"] for name in attributes}
    if len(counts) > 1:
        raise FileProblem(f"its description is damaged (the tables of {words} have several lengths); {AGAIN}")
    if packed:
        draco = _table(_table(primitive, "extensions", words), DRACO, words)
        view = gltf.rows("bufferViews")[_index(draco, "bufferView", len(gltf.rows("bufferViews")), words)]
        indices = accessors[_index(primitive, "indices", len(accessors), words)] if "indices" in primitive else None
        check_draco(view_bytes(gltf, view).tobytes(), indices["count"] // 3 if indices else None, words)
        own = _table(draco, "attributes", words)
        if not all(isinstance(value, int) and not isinstance(value, bool) and value >= 0 for value in own.values()):
            raise FileProblem(f"its description is damaged (the packed tables of {words}); {AGAIN}")
    elif "bufferView" not in position and not position.get("sparse"):  # else all begin at 0 (glTF 2.0, 3.6.2.3)
        raise FileProblem(f"its description is damaged (the positions of {words} have no data); {AGAIN}")
    if "indices" in primitive:
        indices = accessors[_index(primitive, "indices", len(accessors), words)]
        if indices["type"] != "SCALAR" or indices["componentType"] not in (5121, 5123, 5125):
            raise FileProblem(f"its description is damaged (the faces of {words} are not whole numbers); {AGAIN}")
        if not packed:
            _check_indices(gltf, indices, position["count"], words)
    if "material" in primitive:
        _index(primitive, "material", len(gltf.rows("materials")), words)


def _check_indices(gltf: Gltf, accessor: dict[str, Any], vertices: int, words: str) -> None:
    """Faces must name existing vertices. Only unpacked indices can be checked."""
    if "bufferView" not in accessor:
        raise FileProblem(f"its description is damaged (the faces of {words} have no data); {AGAIN}")
    if accessor.get("sparse") is not None:
        return
    view = gltf.rows("bufferViews")[accessor["bufferView"]]
    if set(view.get("extensions") or {}) & set(MESHOPT) or view.get("byteStride") not in (
        None,
        SIZES[accessor["componentType"]],
    ):
        return
    start, kind = accessor.get("byteOffset", 0), np.dtype(KINDS[accessor["componentType"]])
    data = view_bytes(gltf, view)[start : start + accessor["count"] * kind.itemsize]
    found = np.frombuffer(data.tobytes(), kind)
    if int(found.max(initial=0)) >= vertices:
        raise FileProblem(f"its faces name corners that are not there ({int(found.max())} of {vertices}); {AGAIN}")


def _bound_those_without_data(gltf: Gltf, primitives: list[dict[str, Any]]) -> None:
    """Tables without data are zeros that the importer makes: no more than the largest that has data, packed ones included."""
    packed = set()
    for primitive in primitives:
        if DRACO in (primitive.get("extensions") or {}):
            packed |= {*(primitive.get("attributes") or {}).values(), primitive.get("indices")}
    most, free = 1, 0
    for number, accessor in enumerate(gltf.rows("accessors")):
        if "bufferView" in accessor or number in packed:
            most = max(most, accessor["count"])
        else:
            free = max(free, accessor["count"])
    if free > most:
        raise FileProblem(f"its tables announce {free:,} rows without any data; {AGAIN}")


def _check_textures(gltf: Gltf) -> None:
    """Materials must name existing textures, and textures existing pictures."""
    textures = gltf.rows("textures")
    for number, texture in enumerate(textures):
        for key, rows in (("source", "images"), ("sampler", "samplers")):
            if key in texture:
                _index(texture, key, len(gltf.rows(rows)), f"textures[{number}]")
    for number, material in enumerate(gltf.rows("materials")):
        waiting = [material]
        while waiting:
            for key, value in waiting.pop().items():
                if isinstance(value, dict) and key.endswith("Texture"):
                    _index(value, "index", len(textures), f"materials[{number}].{key}")
                elif isinstance(value, dict) and key != "extras":
                    waiting.append(value)


def _check_nodes(gltf: Gltf) -> int:
    """The nodes must form a tree of limited depth. Returns the triangles of all instances; raises FileProblem for too many."""
    nodes, meshes = gltf.rows("nodes"), gltf.rows("meshes")
    children: list[list[int]] = []
    for number, node in enumerate(nodes):
        rows = node.get("children", [])
        if not isinstance(rows, list):
            raise FileProblem(f"its description is damaged (nodes[{number}] has no list of children); {AGAIN}")
        children.append([_index({"node": row}, "node", len(nodes), f"nodes[{number}]") for row in rows])
        for key, size in (("matrix", 16), ("translation", 3), ("rotation", 4), ("scale", 3)):
            _check_numbers(node, key, size, f"nodes[{number}]")
    _refuse_deep(children)
    triangles = 0
    for number, node in enumerate(nodes):
        if "mesh" in node:
            words = f"nodes[{number}]"
            own = _triangles(gltf, meshes[_index(node, "mesh", len(meshes), words)])
            triangles += own * _copies(gltf, node, words)
    if triangles > MOST_TRIANGLES:
        raise FileProblem(f"its parts come to {triangles:,} triangles, far more than a scan has; export the scan again")
    for number, scene in enumerate(gltf.rows("scenes")):
        roots = scene.get("nodes") or []
        if not isinstance(roots, list):
            raise FileProblem(f"its description is damaged (scenes[{number}] has no list of nodes); {AGAIN}")
        for row in roots:
            _index({"node": row}, "node", len(nodes), f"scenes[{number}]")
    if "scene" in gltf.content:
        _index(gltf.content, "scene", len(gltf.rows("scenes")), "the description")
    return triangles


def _check_numbers(table: dict[str, Any], key: str, size: int, words: str) -> None:
    value = table.get(key)
    if value is None:
        return
    sound = isinstance(value, list) and len(value) == size
    if not sound or not all(isinstance(v, (int, float)) and not isinstance(v, bool) and abs(v) < 1e30 for v in value):
        raise FileProblem(f"its description is damaged ({key} of {words} is not a list of {size} numbers); {AGAIN}")


def _refuse_deep(children: list[list[int]]) -> None:
    parents = np.zeros(len(children), int)
    for row in children:
        for child in row:
            parents[child] += 1
    if (parents > 1).any():
        raise FileProblem(f"its description is damaged (a part lies within two others); {AGAIN}")
    level = [number for number in range(len(children)) if not parents[number]]
    seen = depth = 0
    while level:
        seen, depth = seen + len(level), depth + 1
        if depth > DEEPEST:
            raise FileProblem(f"its parts lie within one another more than {DEEPEST} deep; export the scan again as one mesh")
        level = [child for number in level for child in children[number]]
    if seen < len(children):
        raise FileProblem(f"its description is damaged (a part lies within itself); {AGAIN}")


def _triangles(gltf: Gltf, mesh: dict[str, Any]) -> int:
    accessors = gltf.rows("accessors")
    total = 0
    for primitive in mesh["primitives"]:
        place = primitive.get("indices", (primitive.get("attributes") or {}).get("POSITION"))
        total += accessors[place]["count"] // 3 if place is not None else 0
    return total


def _copies(gltf: Gltf, node: dict[str, Any], words: str) -> int:
    """How often a part is shown: once, or as often as EXT_mesh_gpu_instancing says."""
    own = _table(_table(node, "extensions", words), "EXT_mesh_gpu_instancing", words)
    places = _table(own, "attributes", words)
    accessors = gltf.rows("accessors")
    return max([accessors[_index(places, name, len(accessors), words)]["count"] for name in places], default=1)
