"""Which finished pictures are in a job's folder? Those of its shots in their order, the turntable, the sheets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ....core.records import record
from ... import roles

if TYPE_CHECKING:
    import bpy

SHEETS = (("contact_sheet.png", "All shots"), ("sample_sheet.png", "In every material"))


@record
class Finished:
    """A finished picture or film: its title, the picture that represents it, the file to open."""

    title: str
    picture: Path
    opens: Path


def shots_of(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """The shots of the scene's job, in the order of the list."""
    shots = roles.players(scene.get(roles.JOB, ""), role="shot", kinds=("objects",))
    return sorted(shots, key=lambda shot: (shot.get("bozzetto_order", 0), shot.name))


def finished(scene: bpy.types.Scene, out: Path) -> list[Finished]:
    """The finished pictures that exist now; none for a missing folder."""
    found = []
    for shot in shots_of(scene):
        key = str(shot.get(roles.KEY, shot.name))
        found.append(
            Finished(key.replace("_", " ").capitalize(), out / "pictures" / f"{key}.png", out / "pictures" / f"{key}.png")
        )
    frames = sorted((out / "turntable").glob("*.png"))[:1]
    if frames:
        video = out / "turntable.mp4"
        found.append(Finished("Turntable", frames[0], video if video.is_file() else frames[0]))
    found += [Finished(title, out / name, out / name) for name, title in SHEETS]
    return [copy for copy in found if copy.picture.is_file()]
