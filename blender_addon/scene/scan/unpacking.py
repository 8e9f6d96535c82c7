"""Who unpacks a compressed glTF mesh? Blender's importer where it has the library; else what stands beside a `bpy` wheel.

The wheels come without the two bridge libraries that the importer looks for. DracoPy (Google's decoder as a Python package) is
in the project's own environment; meshoptimizer's plain C interface is in the wheel's own folder of libraries.
"""

from __future__ import annotations

import ctypes
import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ..compat import importer_library

DRACO, MESHOPT = "bf_intern_draco_bridge", "bf_intern_meshopt_bridge"


def unpackable() -> frozenset[str]:
    """The compressions, of 'draco' and 'meshopt', that can be unpacked here."""
    draco = importer_library(DRACO) is not None or draco_decoder() is not None
    meshopt = importer_library(MESHOPT) is not None or meshopt_decoder() is not None
    return frozenset([*(["draco"] if draco else []), *(["meshopt"] if meshopt else [])])


def draco_decoder() -> Callable[[bytes], tuple[Any, dict[int, Any]]] | None:
    """A function from Draco's bytes to faces (m, 3) and {attribute number: (n, k) values}; None where there is none."""
    try:
        package = importlib.import_module("DracoPy")
    except ImportError:
        return None

    def decode(data: bytes) -> tuple[Any, dict[int, Any]]:
        try:
            mesh = package.decode(data)
            values = {int(row["unique_id"]): np.asarray(row["data"]) for row in mesh.attributes}
            faces = np.asarray(mesh.faces)
        except Exception as error:  # the package has several kinds of its own
            raise ValueError(str(error)) from None
        return faces.reshape(-1, 3), values

    return decode


_MODES = {"ATTRIBUTES": "meshopt_decodeVertexBuffer", "TRIANGLES": "meshopt_decodeIndexBuffer",
          "INDICES": "meshopt_decodeIndexSequence"}  # fmt: skip
_FILTERS = {"OCTAHEDRAL": "meshopt_decodeFilterOct", "QUATERNION": "meshopt_decodeFilterQuat",
            "EXPONENTIAL": "meshopt_decodeFilterExp"}  # fmt: skip


def meshopt_decoder() -> Callable[[bytes, int, int, str, str], bytes] | None:
    """A function that unpacks a meshopt buffer view (see `core/files/meshes/gltf_copy.py`); None where there is none.

    meshoptimizer.h states the interface: decoders answer 0 when all went well and never read beyond the bytes given.
    """
    library = _meshoptimizer()
    if library is None:
        return None

    def decode(data: bytes, count: int, stride: int, mode: str, filter_name: str) -> bytes:
        if mode not in _MODES or (filter_name != "NONE" and filter_name not in _FILTERS):
            raise ValueError("an unknown way of packing")
        out = ctypes.create_string_buffer(count * stride)
        size = ctypes.c_size_t
        if getattr(library, _MODES[mode])(out, size(count), size(stride), data, size(len(data))) != 0:
            raise ValueError("damaged")
        if filter_name != "NONE":
            if stride not in {"OCTAHEDRAL": (4, 8), "QUATERNION": (8,)}.get(filter_name, range(4, 257, 4)):
                raise ValueError("a filter that does not fit")
            getattr(library, _FILTERS[filter_name])(out, size(count), size(stride))
        return out.raw

    return decode


def _meshoptimizer() -> Any:
    """Blender's own meshoptimizer library, where this build has it as a file of its own."""
    folder = bpy.utils.resource_path("LOCAL")
    for path in sorted((Path(folder).parent / "lib").glob("libmeshoptimizer*.so*")) if folder else []:
        try:
            library = ctypes.CDLL(str(path))
            for name in _MODES.values():
                getattr(library, name).restype = ctypes.c_int
            for name in _FILTERS.values():
                getattr(library, name).restype = None
        except (OSError, AttributeError):
            continue
        return library
    return None
