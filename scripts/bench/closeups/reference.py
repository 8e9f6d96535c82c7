"""How near does a reference shot come to its photo? The product's own steps, from scan to comparison, on rendered photos."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, angle_between
from blender_addon.core.closeups.seen import Form
from blender_addon.core.mesh.triangles import TriangleMesh, shading_normals
from blender_addon.core.reference.comparing import difference
from blender_addon.job import sheet as sheets
from blender_addon.job.files.whole_files import begin_folder
from blender_addon.job.runner import finish, run_job
from blender_addon.scene.images import read_pixels
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue
from scripts.closeups.placed import Placed
from scripts.truth.scanner import truth_case

from .placing import clicked

SHEET = """bozzetto = 1
[intake]
scan = "scan.obj"
unit = "mm"
[separation]
stand = "no"
[material]
piece = "own"
[reference]
photos = ["photo.jpg"]
[comparison]
size = 640
samples = 32
"""


class Scanned:
    """A bench shape's bare scan, taken to its material once; `beside` lays photo after photo beside it."""

    def __init__(self, shape: str, out: Path):
        begin_folder(out)
        self.scan = _written(shape, out)
        (out / "job.toml").write_text(SHEET, encoding="utf-8")
        self.steps, self.out = catalogue(), out
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.stage = Stage(bpy.context.scene, sheets.read(out / "job.toml", self.steps), out=out)
        self._run([step for step in self.steps if step.folder in ("scan", "surface") and step.name != "reference"])
        self.kept = out / "scanned.blend"
        bpy.ops.wm.save_as_mainfile(filepath=str(self.kept))

    def _run(self, chosen: list[Any]) -> dict[str, Any]:
        return finish(run_job(chosen, self.steps, self.stage.sheet, self.stage)).figures()

    def beside(self, placed: Placed) -> dict[str, Any]:
        """The figures of both steps for a photo, `turn_deg` off the true camera, and `flat_delta_e` of one even tone."""
        bpy.ops.wm.open_mainfile(filepath=str(self.kept))
        (self.out / "photo.jpg").write_bytes(placed.photo)
        (self.out / "job.toml").write_text(SHEET + self._spots(placed), encoding="utf-8")
        self.stage = Stage(bpy.context.scene, sheets.read(self.out / "job.toml", self.steps), out=self.out)
        tables = self._run([step for step in self.steps if step.name in ("reference", "comparison")])
        figures = tables["reference"] | tables["comparison"]
        camera = self.stage.find("reference")
        if camera is not None:
            figures["turn_deg"] = self._turn(camera, placed.camera)
            figures["flat_delta_e"] = self._flat()
        return figures

    def _spots(self, placed: Placed) -> str:
        """Six points of the sheet, marked on the photo a click's error off and on the scan."""
        rng = np.random.default_rng(23)
        vertices = self.scan.vertices.astype(float)
        form = Form(vertices, self.scan.faces, shading_normals(vertices, self.scan.faces))
        spots = clicked(placed.camera, form, rng)
        rows = zip(spots.pixels.tolist(), spots.points.tolist(), strict=True)
        return "".join(f"[[reference.spots]]\npixel = {pixel}\non_scan = {point}\n" for pixel, point in rows)

    def _turn(self, camera: Any, true: PhotoCamera) -> float:
        matrix = np.array(list(self.stage.require("upright")["bozzetto_matrix"])).reshape(4, 4)[:3, :3]
        moved = true.rotation @ (matrix / np.linalg.norm(matrix, axis=0)).T
        found = np.array(camera.matrix_basis)[:3, :3].T * np.array([[1.0], [-1.0], [-1.0]])
        return angle_between(found, moved)

    def _flat(self) -> float:
        """The colour difference of the photo from the piece in one tone, the photo's own median: what no light would give."""
        photo = read_pixels(self.stage.require("reference_photo"))[..., :3]
        piece = read_pixels(self.stage.require("reference_mask"))[..., 0] > 0.5
        return difference(photo, np.broadcast_to(np.median(photo[piece], axis=0), photo.shape), piece).colour_mean


def _written(shape: str, out: Path) -> TriangleMesh:
    """The shape's scan as an OBJ whose Y is up, with its picture."""
    from PIL import Image

    case = truth_case(shape, "window", pigment="bare")
    Image.fromarray(case.texture[::-1]).save(out / "scan.jpg", quality=95)
    lines = ["mtllib scan.mtl", "usemtl scan"]
    lines += [f"v {x:.5f} {z:.5f} {-y:.5f}" for x, y, z in case.scan.vertices]
    lines += [f"vt {u:.6f} {v:.6f}" for u, v in case.scan.uv.reshape(-1, 2)]
    lines += [
        "f " + " ".join(f"{vertex + 1}/{3 * row + corner + 1}" for corner, vertex in enumerate(face))
        for row, face in enumerate(case.scan.faces)
    ]
    (out / "scan.obj").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (out / "scan.mtl").write_text("newmtl scan\nmap_Kd scan.jpg\n", encoding="utf-8")
    return case.scan
