"""Provides decoders for compressed glTF meshes where Blender's importer has none.

The `bpy` wheels lack the two bridge libraries that the importer needs. DracoPy (Google's decoder as a Python package) is in the
project's own environment; meshoptimizer's C interface is in the wheel's library folder.
"""

from __future__ import annotations

import ctypes
import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.arrays import AnyArray, Ints
from ..compat import importer_library

DRACO, MESHOPT = "bf_intern_draco_bridge", "bf_intern_meshopt_bridge"


def unpackable() -> frozenset[str]:
    """The compressions, of 'draco' and 'meshopt', that can be unpacked here."""
    draco = importer_library(DRACO) is not None or draco_decoder() is not None
    meshopt = importer_library(MESHOPT) is not None or meshopt_decoder() is not None
    return frozenset([*(["draco"] if draco else []), *(["meshopt"] if meshopt else [])])


def draco_decoder() -> Callable[[bytes], tuple[Ints, dict[int, AnyArray]]] | None:
    """A function from Draco data to faces (m, 3) and {attribute id: (n, k) values}; None where DracoPy is missing."""
    try:
        package = importlib.import_module("DracoPy")
    except ImportError:
        return None

    def decode(data: bytes) -> tuple[Ints, dict[int, AnyArray]]:
        try:
            mesh = package.decode(data)
            values = {int(row["unique_id"]): np.asarray(row["data"]) for row in mesh.attributes}
            faces = np.asarray(mesh.faces)
        except Exception as error:  # the package raises several types of its own
            raise ValueError(str(error)) from None
        return faces.reshape(-1, 3), values

    return decode


_MODES = {"ATTRIBUTES": "meshopt_decodeVertexBuffer", "TRIANGLES": "meshopt_decodeIndexBuffer",
          "INDICES": "meshopt_decodeIndexSequence"}  # fmt: skip
_FILTERS = {"OCTAHEDRAL": "meshopt_decodeFilterOct", "QUATERNION": "meshopt_decodeFilterQuat",
            "EXPONENTIAL": "meshopt_decodeFilterExp"}  # fmt: skip


def meshopt_decoder() -> Callable[[bytes, int, int, str, str], bytes] | None:
    """A function that unpacks a meshopt buffer view (see `core/files/meshes/gltf_copy.py`); None without the library.

    Interface by meshoptimizer.h: decoders return 0 on success and never read beyond the given bytes.
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
    """Blender's own meshoptimizer library, where this build has it as a separate file."""
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
