"""Do scans packed with Draco or meshopt compression open, damaged ones end in words, and nothing reach the terminal?"""

from __future__ import annotations

import ctypes
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core.mesh.triangles import signed_volume  # noqa: E402
from blender_addon.job.errors import InputError  # noqa: E402
from blender_addon.scene import compat  # noqa: E402
from blender_addon.scene.scan import unpacking  # noqa: E402
from blender_addon.scene.scan.importers import import_scan  # noqa: E402
from tests.glb_files import glb, packed_into, scene_of  # noqa: E402
from tests.scan_shapes import statuette  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")
FIGURE = statuette(rows=24, columns=30, open_bottom=False)
VOLUME = signed_volume(FIGURE.vertices, FIGURE.faces)


def draco_glb(*, fallback: bool = False, spoil: int | None = None) -> bytes:
    """The figure packed by Google's encoder, 14 bits a coordinate; `spoil`: a byte of the packed mesh to be turned over."""
    package = pytest.importorskip("DracoPy")
    content, views = scene_of(FIGURE)
    points = np.frombuffer(views[1], "<f4").reshape(-1, 3)
    uv = np.frombuffer(views[2], "<f4").reshape(-1, 2).astype(float)
    data = bytearray(package.encode(points, np.arange(len(points)).reshape(-1, 3), quantization_bits=14, tex_coord=uv))
    mesh = package.decode(bytes(data))
    numbers = {row["attribute_type"]: row["unique_id"] for row in mesh.attributes}  # 0: position, 3: texture coordinate
    if spoil is not None:
        data[spoil] ^= 0xFF
    primitive = content["meshes"][0]["primitives"][0]
    own = {"bufferView": 3 if fallback else 0, "attributes": {"POSITION": numbers[0], "TEXCOORD_0": numbers[3]}}
    primitive["extensions"] = {"KHR_draco_mesh_compression": own}
    content["extensionsUsed"] = ["KHR_draco_mesh_compression"]
    if fallback:
        return packed_into(content, [*views, bytes(data)])
    content["extensionsRequired"] = ["KHR_draco_mesh_compression"]
    for accessor in content["accessors"]:
        del accessor["bufferView"]
    content["accessors"][0]["count"] = mesh.faces.size
    for accessor in content["accessors"][1:]:
        accessor["count"] = len(mesh.points)
    return packed_into(content, [bytes(data)])


def meshopt_glb(*, spoil: bool = False) -> bytes:
    """The figure packed by meshoptimizer's own encoder (its plain C interface, in Blender's libraries)."""
    library: Any = unpacking._meshoptimizer()
    if library is None:
        pytest.skip("this Blender has no meshoptimizer library of its own")
    size = ctypes.c_size_t
    content, views = scene_of(FIGURE)
    rows, binary = [], b""
    for place, (data, stride) in enumerate(zip(views, (4, 12, 8), strict=True)):
        count = len(data) // stride
        out = ctypes.create_string_buffer(2 * len(data) + 4096)
        encode = library.meshopt_encodeIndexBuffer if place == 0 else library.meshopt_encodeVertexBuffer
        encode.restype = ctypes.c_size_t
        more = (size(count),) if place == 0 else (size(count), size(stride))
        length = encode(out, size(len(out)), data, *more)
        packed = out.raw[:length]
        own = {"buffer": 0, "byteOffset": len(binary), "byteLength": len(packed), "byteStride": stride, "count": count,
               "mode": "TRIANGLES" if place == 0 else "ATTRIBUTES"}  # fmt: skip
        row = {"buffer": 1, "byteOffset": 0, "byteLength": len(data), "extensions": {"EXT_meshopt_compression": own}}
        rows.append(row if place == 0 else {**row, "byteStride": stride})
        binary += packed + b"\0" * (-len(packed) % 4)
    if spoil:
        binary = bytes(len(binary))
    fallback = {"byteLength": sum(map(len, views)), "extensions": {"EXT_meshopt_compression": {"fallback": True}}}
    content |= {"extensionsUsed": ["EXT_meshopt_compression"], "extensionsRequired": ["EXT_meshopt_compression"]}
    return glb({**content, "buffers": [{"byteLength": len(binary)}, fallback], "bufferViews": rows}, binary)


def volume_of(path: Path) -> float:
    found = import_scan(path)
    assert found.mesh.uv is not None and np.ptp(found.mesh.uv) > 0.9
    return signed_volume(found.mesh.vertices.astype(float), found.mesh.faces)


@pytest.mark.parametrize("fallback", [False, True])
def test_a_draco_scan_opens(tmp_path: Path, fallback: bool) -> None:
    """14 bits of 68 mm are steps of 0.004 mm, so the volume agrees to a few parts in ten thousand."""
    (tmp_path / "a.glb").write_bytes(draco_glb(fallback=fallback))
    assert volume_of(tmp_path / "a.glb") == pytest.approx(VOLUME, rel=1e-3)


def test_a_meshopt_scan_opens(tmp_path: Path) -> None:
    """That compression keeps every bit."""
    (tmp_path / "a.glb").write_bytes(meshopt_glb())
    assert volume_of(tmp_path / "a.glb") == pytest.approx(VOLUME, rel=1e-5)


def test_damaged_meshopt_data_are_reported(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.glb").write_bytes(meshopt_glb(spoil=True))
    with pytest.raises(InputError, match="packed data are damaged"):
        import_scan(tmp_path / "a.glb")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("spoil", [0, 5, 8, 12, 13, 20, 200])
def test_a_damaged_draco_mesh_is_reported_or_read(tmp_path: Path, capfd: pytest.CaptureFixture[str], spoil: int) -> None:
    """A byte turned over somewhere: an error of ours or, where the byte did not matter, a mesh; never more on the terminal."""
    (tmp_path / "a.glb").write_bytes(draco_glb(spoil=spoil))
    try:
        assert len(import_scan(tmp_path / "a.glb").mesh.faces) <= len(FIGURE.faces)
    except InputError as error:
        assert '"a.glb"' in str(error)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(("make", "name"), [(draco_glb, "Draco"), (meshopt_glb, "meshopt")])
def test_without_a_library_the_compression_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, make: Any, name: str
) -> None:
    (tmp_path / "a.glb").write_bytes(make())
    for function in ("draco_decoder", "meshopt_decoder"):
        monkeypatch.setattr(unpacking, function, lambda: None)
    monkeypatch.setattr(unpacking, "importer_library", lambda name: None)
    with pytest.raises(InputError, match=f"packed with {name} compression.*export the scan again without it"):
        import_scan(tmp_path / "a.glb")


def test_without_a_library_the_form_beside_the_packed_one_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.glb").write_bytes(draco_glb(fallback=True))
    monkeypatch.setattr(unpacking, "draco_decoder", lambda: None)
    monkeypatch.setattr(unpacking, "importer_library", lambda name: None)
    assert volume_of(tmp_path / "a.glb") == pytest.approx(VOLUME, rel=1e-5)


def test_a_promise_of_more_triangles_than_the_file_says_is_refused(tmp_path: Path) -> None:
    """The header of the packed mesh is read before any decoder takes memory for what it says."""
    data = draco_glb()
    length = int.from_bytes(data[12:16], "little")
    content = json.loads(data[20 : 20 + length])
    content["accessors"][0]["count"] = 3
    binary = data[28 + length :]
    (tmp_path / "a.glb").write_bytes(glb(content, binary))
    with pytest.raises(InputError, match="packed mesh is damaged"):
        import_scan(tmp_path / "a.glb")


def by_name(folder: Path) -> Any:
    """As in Blender 5.2: asked with two names, the library's and its build's."""
    return SimpleNamespace(dll_path=lambda name, build: folder / f"{name}.so")


def draco_alone(folder: Path) -> Any:
    """As in Blender 4.5 and 5.0: asked without a name."""
    return SimpleNamespace(dll_path=lambda: folder / "draco.so")


@pytest.mark.parametrize("module", ["io_scene_gltf2.io.com.library", "io_scene_gltf2.io.com.draco"])
def test_a_library_that_is_there_is_found_and_one_that_is_not_is_none(
    module: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    library = by_name(tmp_path) if module.endswith("library") else draco_alone(tmp_path)

    def importing(name: str) -> Any:
        if name != module:
            raise ImportError(name)
        return library

    monkeypatch.setattr(compat.importlib, "import_module", importing)
    assert compat.importer_library("draco") is None, "the importer names a file that this build lacks"
    (tmp_path / "draco.so").write_bytes(b"\0")
    assert compat.importer_library("draco") == tmp_path / "draco.so"
