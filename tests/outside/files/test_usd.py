"""The USD that is handed over, read by the format's own library (PyPI `usd-core`, in a process of its own beside Blender's)."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene.delivery.asset_files import AssetPart, write_usd
from blender_addon.scene.images import make_image
from blender_addon.scene.meshes import make_object

pytestmark = pytest.mark.oracle
READ = """
import json, os, sys
from pxr import Usd, UsdGeom, UsdShade
stage = Usd.Stage.Open(sys.argv[1])
box = UsdGeom.BBoxCache(Usd.TimeCode.Default(), ["default"]).ComputeWorldBound(stage.GetPseudoRoot()).ComputeAlignedRange()
kinds = [[str(prim.GetPath()), str(prim.GetTypeName())] for prim in stage.Traverse()]
meshes = [UsdGeom.Mesh(prim) for prim in stage.Traverse() if prim.GetTypeName() == "Mesh"]
bound = [bool(UsdShade.MaterialBindingAPI(mesh).ComputeBoundMaterial()[0]) for mesh in meshes]
files = [str(UsdShade.Shader(prim).GetInput("file").Get().resolvedPath) for prim in stage.Traverse()
         if prim.GetTypeName() == "Shader" and UsdShade.Shader(prim).GetInput("file")]
print(json.dumps({
    "metres": UsdGeom.GetStageMetersPerUnit(stage), "up": str(UsdGeom.GetStageUpAxis(stage)), "kinds": kinds, "bound": bound,
    "size": list(box.GetSize()), "default": str(stage.GetDefaultPrim().GetPath()), "files": [os.path.isfile(f) for f in files],
    "faces": [len(mesh.GetFaceVertexCountsAttr().Get()) for mesh in meshes]}))
"""


def test_the_formats_own_library_reads_size_mesh_and_textures(tmp_path: Path, empty_scene) -> None:
    if importlib.util.find_spec("pxr") is None:
        pytest.skip("usd-core is not installed here")
    corners = np.array([[0, 0, 0], [0.05, 0, 0], [0, 0.05, 0], [0, 0, 0.08]], np.float32)
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], np.int32)
    uv = np.tile(np.array([[0.1, 0.1], [0.9, 0.1], [0.1, 0.9]], np.float32), (4, 1, 1))
    item = make_object("Piece", TriangleMesh(corners, faces, uv))
    albedo = make_image("albedo", np.full((16, 16, 3), 0.6))
    normal = make_image("normal", np.full((16, 16, 3), (0.5, 0.5, 1.0)), data=True)
    write_usd([AssetPart("Piece", item, albedo=albedo, normal=normal)], tmp_path / "a.usdc")
    done = subprocess.run(
        [sys.executable, "-c", READ, str(tmp_path / "a.usdc")], capture_output=True, text=True, check=True, timeout=120
    )
    found = json.loads(done.stdout.splitlines()[-1])
    assert (found["metres"], found["up"], found["default"]) == (1.0, "Z", "/root")
    assert found["size"] == pytest.approx([0.05, 0.05, 0.08], abs=1e-6), "true metres"
    assert found["faces"] == [4] and found["bound"] == [True] and found["files"] == [True, True]
    assert not [kind for _, kind in found["kinds"] if "Light" in kind or "Camera" in kind]
