"""Does a job leave the user's own scene as it was, whatever state that is in, and does it run there?

In each state the user has something of their own. The job is run as by the button, as far as its table; then what is theirs
must be there unchanged, and the job's piece stand at its true size.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy

from blender_addon.scene import roles
from blender_addon.scene.prints.fingerprint import fingerprint

from .. import Options, Record
from . import tell
from .job import SmallJob

FAST = ("small units", "edit mode", "own world and compositor", "linked library")


def own_cube(name: str = "My cube") -> Any:
    """A mesh of the user's in the scene that is shown."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], [], [(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)])
    item = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(item)
    bpy.context.view_layer.objects.active = item
    item.select_set(True)
    return item


def units(system: str, scale: float) -> None:
    """Another unit system."""
    own_cube()
    settings = bpy.context.scene.unit_settings
    settings.system, settings.scale_length = system, scale


def mode(name: str) -> None:
    """In the middle of something."""
    own_cube()
    bpy.ops.object.mode_set(mode=name)


def own_look(folder: Path) -> None:
    """A world and a view of the user's."""
    own_cube()
    bpy.context.scene.world = bpy.data.worlds.new("My sky")
    bpy.context.scene.view_settings.view_transform = "Standard"


def library(folder: Path) -> None:
    """Objects linked from another file."""
    item = own_cube("From elsewhere")
    path = folder / "library.blend"
    bpy.data.libraries.write(str(path), {item})
    bpy.data.objects.remove(item)
    with bpy.data.libraries.load(str(path), link=True) as (there, here):
        here.objects = list(there.objects)
    bpy.context.scene.collection.objects.link(here.objects[0])


def other_scene(folder: Path) -> None:
    """A second scene with something in it."""
    own_cube()
    other = bpy.data.scenes.new("Mine")
    other.collection.objects.link(bpy.data.objects.new("My empty", None))


def taken_names(folder: Path) -> None:
    """The names that the job would give."""
    for name in ("Piece", "Upright", "Table", "Scan 1 knob", "Shot hero"):
        own_cube(name)
    bpy.context.scene.collection.children.link(bpy.data.collections.new("Bozzetto"))


def unused(folder: Path) -> None:
    """Data that nothing uses yet."""
    own_cube()
    for kind in ("materials", "worlds", "meshes"):
        getattr(bpy.data, kind).new("Mine, unused")


def animated(folder: Path) -> None:
    """An action, and the timeline somewhere."""
    item = own_cube()
    item.keyframe_insert("location", frame=1)
    bpy.context.scene.frame_set(37)


def many_layers(folder: Path) -> None:
    """View layers, and a collection left out of one."""
    own_cube()
    collection = bpy.data.collections.new("Mine")
    bpy.context.scene.collection.children.link(collection)
    bpy.context.scene.view_layers.new("Second").layer_collection.children["Mine"].exclude = True


def camera(folder: Path) -> None:
    """A camera of the user's, active."""
    own_cube()
    item = bpy.data.objects.new("My camera", bpy.data.cameras.new("My camera"))
    bpy.context.scene.collection.objects.link(item)
    bpy.context.scene.camera = item


def setting(path: str, value: Any) -> Callable[[Path], None]:
    """A setting of the scene, and something in it."""

    def make(folder: Path) -> None:
        own_cube()
        *parts, name = path.split(".")
        owner = bpy.context.scene
        for part in parts:
            owner = getattr(owner, part)
        setattr(owner, name, value)

    return make


STATES: dict[str, Callable[[Path], Any]] = {
    "small units": lambda folder: units("METRIC", 0.001),
    "centimetres": lambda folder: units("METRIC", 0.01),
    "feet": lambda folder: units("IMPERIAL", 0.3048),
    "no units": lambda folder: units("NONE", 0.001),
    "edit mode": lambda folder: mode("EDIT"),
    "sculpt mode": lambda folder: mode("SCULPT"),
    "vertex paint": lambda folder: mode("VERTEX_PAINT"),
    "weight paint": lambda folder: mode("WEIGHT_PAINT"),
    "own world and compositor": own_look,
    "linked library": library,
    "another scene": other_scene,
    "names that are taken": taken_names,
    "unused data": unused,
    "animation": animated,
    "view layers": many_layers,
    "own camera": camera,
    "Workbench": setting("render.engine", "BLENDER_WORKBENCH"),
    "raw view": setting("view_settings.view_transform", "Raw"),
    "another frame rate": setting("render.fps", 50),
    "a render border": setting("render.use_border", True),
}


def theirs() -> dict[str, Any]:
    """What is in the open file and not the job's: content, place and mode of each data-block, the units, the frame."""
    found: dict[str, Any] = {}
    for kind in (*roles.KINDS, "scenes", "libraries"):
        for block in getattr(bpy.data, kind):
            found[f"{kind} {block.name}"] = _of(block)
    scene = bpy.context.scene
    units_ = scene.unit_settings
    found["units"] = (units_.system, round(units_.scale_length, 6))
    found["frame"] = scene.frame_current
    return found


def _of(block: Any) -> Any:
    if isinstance(block, bpy.types.Object):
        return fingerprint(block), sorted(collection.name for collection in block.users_collection), block.mode
    if isinstance(block, (bpy.types.Scene, bpy.types.Collection, bpy.types.Library)):
        return ""  # what they hold is seen by the objects in them
    return fingerprint(block)


def harmed(job: SmallJob, state: str) -> list[str]:
    """Put Blender into the state, run the job, and return what of the user's is gone or changed, in words."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    STATES[state](job.folder)
    before = theirs()
    scene = bpy.context.scene
    job.run_in_window(scene)
    after = theirs()
    found = [f"{name} is gone" for name in before if name not in after]
    found += [f"{name} was {was} and is {after[name]}" for name, was in before.items() if name in after and after[name] != was]
    piece = next((item for item in roles.players(scene[roles.JOB], role="upright", scene=scene)), None)
    if piece is None or abs(piece.dimensions.z - 0.060) > 0.0006:  # one percent of the height that the sheet gives
        found.append("the piece does not stand at its size")
    return found


def run(record: Record, options: Options) -> None:
    """All states; `--fast` tries a few."""
    job = SmallJob(options.out / "scenes", until="tabletop")
    states = options.share([name for name in STATES if not options.fast or name in FAST])
    unharmed = 0
    for state in states:
        found = harmed(job, state)
        unharmed += not found
        for words in found:
            record.fail(f"{state}: {words}")
    tell(record, options, ("scenes", "scenes_unharmed"), (len(states), unharmed), least=15)
