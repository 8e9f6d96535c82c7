"""What close-ups and reference photos alike need: the piece's form, marked spots, and whether a camera is right."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...core.arrays import Floats, Pixels8
from ...core.closeups.pose import FEWEST, Spots
from ...core.closeups.seen import Form
from ...core.mesh.triangles import shading_normals
from ...core.records import record
from ...job.decisions import Alternative, Decision
from ...job.errors import InputError, SheetError
from ...scene.meshes import MM, read_mesh
from ...scene.stage import Stage
from ...scene.surface.closeup_photos import Photo
from ._closeup_cameras import Placed
from .declared._placed_photos import SpotRow


def form_of(stage: Stage) -> Form:
    """The piece's form, and the stand as what may hide it. Raises InputError for a piece without a surface."""
    piece = read_mesh(stage.require("piece"), scale=MM)
    if not len(piece.faces):
        raise InputError("The piece has no surface that a photo could show: look at what separation left of it")
    stand = stage.find("stand")
    other = read_mesh(stand, scale=MM) if stand is not None else None
    vertices = piece.vertices.astype(float)
    normals = shading_normals(vertices, piece.faces)
    return Form(vertices, piece.faces, normals, (other.vertices.astype(float), other.faces) if other is not None else None)


def names_in(listed: str) -> list[str]:
    """The names of a list separated by commas."""
    return [part.strip() for part in listed.split(",") if part.strip()]


def check_spots(table: str, spots: Sequence[SpotRow], first_photos: dict[str, str]) -> None:
    """Raise SheetError where spots name a place without a photo, or are too few. first_photos: a place's first photo's file."""
    for spot in spots:
        if spot.set not in first_photos:
            raise SheetError(f'{table}.spots: there is no photo of a place "{spot.set}"; its photos say set = "{spot.set}"')
    for name, file in first_photos.items():
        marked = sum(row.set == name for row in spots)
        if 0 < marked < FEWEST:
            raise SheetError(
                f'{table}.spots: the place "{name}" has {marked} spots; mark {FEWEST} or more, the same on "{file}" '
                "and on the scan, six are better; or none, and the place is looked for"
            )


def spots_of(table: str, stage: Stage, spots: Sequence[SpotRow], skin_form: Form, name: str, photo: Photo) -> Spots:
    """The marked points of a place in mm and pixels, with the mesh's normals. Raises SheetError for incomplete ones.

    table: the step's table on the sheet, as an error names it.
    """
    points, pixels = [], []
    upright = stage.find("upright")
    matrix = np.array(upright.get("bozzetto_matrix", np.eye(4).ravel()) if upright else np.eye(4).ravel(), float).reshape(4, 4)
    for row in (row for row in spots if row.set == name):
        if row.pixel is None or (row.on_piece is None) == (row.on_scan is None):
            raise SheetError(f'{table}.spots: each spot of place "{name}" needs pixel, and either on_piece or on_scan')
        if not (0 <= row.pixel[0] <= photo.size[0] and 0 <= row.pixel[1] <= photo.size[1]):
            raise SheetError(
                f"{table}.spots: pixel {row.pixel[0]:g}, {row.pixel[1]:g} lies outside the photo of "
                f"{photo.size[0]} x {photo.size[1]} pixels"
            )
        pixels.append(row.pixel)
        on_scan = None if row.on_scan is None else MM * (matrix[:3, :3] @ np.array(row.on_scan) + matrix[:3, 3])
        points.append(np.array(row.on_piece, float) if on_scan is None else on_scan)
    places = np.array(points)
    far, near = zip(*(_nearest(skin_form, place) for place in places), strict=True)
    reach = 0.1 * float(np.linalg.norm(np.ptp(skin_form.vertices, axis=0)))
    if max(far) > reach:
        raise SheetError(
            f'{table}.spots: spot {int(np.argmax(far)) + 1} of place "{name}" lies {max(far):.0f} mm off the piece: '
            "on_piece is in mm in the scene, on_scan in the scan's own units as Blender imports it (x, -z, y of an OBJ or glTF "
            "file, whose Y is up)"
        )
    return Spots(places, np.array(pixels, float), skin_form.normals[list(near)])


def _nearest(form: Form, place: Floats) -> tuple[float, int]:
    far = np.linalg.norm(form.vertices - place, axis=1)
    row = int(np.argmin(far))
    return float(far[row]), row


@record
class Asked:
    """How a decision on a place's camera is worded. table: whose setting `accepted` it is. question: on place {name}. use,
    leave: what is done, in words."""

    table: str
    question: str
    use: str
    leave: str

    def decided(self, listed: str, name: str, placed: Placed, picture: Pixels8) -> Decision:
        """The decision on whether a camera is right. listed: the names that are accepted. picture: photo and piece overlaid."""
        accepted = name in names_in(listed)
        used = is_used(placed, accepted=accepted)
        others = sorted({*names_in(listed)} - {name})
        setting = f"{self.table}.accepted"
        with_it, without = ({setting: ", ".join(names)} for names in ([*others, name], others))
        use = Alternative(self.use, with_it, picture=picture)
        leave = Alternative(self.leave, without if accepted else {})  # what holds already would count as the answer
        sure = {"sure": 0.95, "not sure": 0.5, "no fit": 0.95}[placed.verdict]
        open_ways = (leave,) if accepted else ()
        rest = (open_ways if used else (use,)) if placed.verdict != "no fit" else ()
        question = self.question.format(name=name)
        return Decision(f"camera_{name}", question, use if used else leave, sure, placed.evidence, rest, accepted)


def is_used(placed: Placed, *, accepted: bool) -> bool:
    """Whether a place is used: its camera is sure, or it may be right and the user has accepted it."""
    return placed.verdict == "sure" or (accepted and placed.verdict == "not sure")
