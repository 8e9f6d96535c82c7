"""Runs inside the window's Blender: opens the tab, photographs it, clicks once, photographs it again.

A generator that goes back to Blender's event loop at each yield, so that windows redraw and modal operators run. Exceptions in
`draw` do not reach it: the caller reads them from the log.
"""

from __future__ import annotations

import dataclasses
import functools
import importlib
import json
import math
import os
import subprocess
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from typing import Any

import bpy

OUT, JOB = "/shots/out", "/scans"
with open("/shots/wanted.json", encoding="utf-8") as _file:
    WANTED = json.load(_file)
CATEGORY = "Bozzetto"
MODULE = "bl_ext.user_default.bozzetto"
RUN_SECONDS = 600
START = time.time()

# At import, not in a timer: the splash opens straight after --python scripts have run.
bpy.context.preferences.view.show_splash = False
bpy.context.preferences.use_preferences_save = False


def log(*words: Any) -> None:
    """Print what is done, with the seconds since the start."""
    print(f"DRIVE {time.time() - START:5.1f}", *words, flush=True)


def view3d() -> tuple[Any, Any, Any]:
    """The window, its largest 3D view and that one's sidebar; in a timer bpy.context.window is None."""
    window = bpy.context.window_manager.windows[0]
    area = max((a for a in window.screen.areas if a.type == "VIEW_3D"), key=lambda a: a.width * a.height)
    return window, area, next(region for region in area.regions if region.type == "UI")


def shot(name: str) -> None:
    """Photograph the screen from X's own pixels; Blender's own screenshot is black on a virtual screen."""
    subprocess.run(["xwd", "-silent", "-root", "-out", f"{OUT}/{name}.xwd"], check=True)
    log("shot", name)


def redrawn(name: str) -> Iterator[None]:
    """Let the window draw itself again, then photograph it."""
    for _ in range(2):
        for area in view3d()[0].screen.areas:
            area.tag_redraw()
        yield
    shot(name)


@dataclasses.dataclass
class Desk:
    """What a session in a module of its own is given; this driver is no module that it could import.

    window: Blender's. wanted: what the caller asked for. redrawn(name): let the window draw itself, then photograph it.
    clicked(): the one click. shot(name): photograph at once. view3d(): window, largest 3D view, its sidebar.
    """

    window: Any
    log: Callable[..., None]
    wanted: dict[str, Any]
    redrawn: Callable[[str], Iterator[None]]
    clicked: Callable[[], Iterator[None]]
    shot: Callable[[str], None]
    view3d: Callable[[], tuple[Any, Any, Any]]
    open_panels: type


class OpenPanels:
    """Panels of one folder drawn open, with every setting shown, beside the top panel.

    Blender keeps whether a panel is open for itself, so open twins under other names are registered in their place.
    """

    def __init__(self) -> None:
        self.panels = importlib.import_module(f"{MODULE}.ui.panels")
        self.step = importlib.import_module(f"{MODULE}.job.step")
        self.twins: list[type] = []
        self.fields = importlib.import_module(f"{MODULE}.ui.fields")
        self.specs = self.fields.specs

    def all_specs(self, settings: type) -> dict[str, Any]:
        """A step's settings, those under "More" like the others."""
        return {name: dataclasses.replace(spec, more=False) for name, spec in self.specs(settings).items()}

    def show(self, folder: str, *only: str, wrap: Callable[[Any], Any] = lambda draw: draw) -> None:
        """Put the open twins of a folder's panels in place of all panels; of its parts all, or only some.

        folder: one of the five, or "" for all of them and the panels above. wrap: put round each `draw`.
        """
        self.clear()
        for cls in reversed(self.panels.classes()):
            if cls.is_registered and issubclass(cls, bpy.types.Panel):
                bpy.utils.unregister_class(cls)
        self.fields.specs = functools.cache(self.all_specs)  # kept, since what it costs is the driver's and no panel's
        steps = {step.name for step in self.panels.catalogue() if folder in (step.folder, "")}
        for cls in self.panels.classes():
            name = cls.bl_idname.removeprefix("BOZZETTO_PT_")
            if only and name not in (folder, *only):
                continue
            if not issubclass(cls, bpy.types.Panel):
                continue
            if not folder or name in (folder, *steps) or getattr(cls, "bl_parent_id", "") == f"BOZZETTO_PT_{folder}":
                kept = ("draw", "draw_header_preset", "bl_label", "poll")
                body = {key: getattr(cls, key) for key in kept if key in vars(cls)}
                body |= {key: wrap(body[key]) for key in ("draw", "draw_header_preset") if key in body}
                body |= {"bl_idname": f"{cls.bl_idname}_open", "bl_options": set()}
                if hasattr(cls, "bl_parent_id"):
                    body["bl_parent_id"] = f"{cls.bl_parent_id}_open"
                bases = tuple(base for base in cls.__mro__[1:] if base is not object)[:1]
                self.twins.append(type(f"{cls.__name__}_open", (*bases, bpy.types.Panel), body))
        for twin in self.twins:
            bpy.utils.register_class(twin)

    def clear(self) -> None:
        """Take the twins away and put the real panels back."""
        for twin in reversed(self.twins):
            bpy.utils.unregister_class(twin)
        self.twins = []
        self.fields.specs = self.specs
        for cls in self.panels.classes():
            if not cls.is_registered:
                bpy.utils.register_class(cls)


def photographs(prefix: str, panels: OpenPanels) -> Iterator[None]:
    """The tab as it stands, then each of the five panels open."""
    yield from redrawn(f"{prefix}-0-tab")
    for place, folder in enumerate(panels.step.FOLDERS, 1):
        panels.show(folder)
        yield
        yield from redrawn(f"{prefix}-{place}-{folder}")
    panels.clear()
    yield


def wide_sidebar(ui: Any, window: Any, area: Any) -> None:
    """Drag the sidebar's edge, so that labels are read in full: no setting for its width exists."""
    x, y = ui.x, area.y + area.height // 2
    drag = (("MOUSEMOVE", "NOTHING", x), ("LEFTMOUSE", "PRESS", x), ("MOUSEMOVE", "NOTHING", x - 80))
    for kind, value, at in (*drag, ("MOUSEMOVE", "NOTHING", x - 170), ("LEFTMOUSE", "RELEASE", x - 170)):
        window.event_simulate(type=kind, value=value, x=int(at), y=int(y))


def frame_subject(area: Any, window: Any) -> None:
    """Look at what was made, close up."""
    region = next(r for r in area.regions if r.type == "WINDOW")
    area.spaces.active.clip_start = 0.001
    area.spaces.active.shading.type = "SOLID"
    area.spaces.active.shading.color_type = "OBJECT"
    with bpy.context.temp_override(window=window, area=area, region=region):
        bpy.ops.object.select_all(action="DESELECT")
        for block in bpy.data.objects:
            if block.get("bozzetto_role") in ("piece", "stand") and not block.hide_get():
                block.select_set(True)
        if bpy.context.selected_objects:
            bpy.ops.view3d.view_selected(use_all_regions=False)


def clicked() -> Iterator[None]:
    """One click, as a person clicks: the modal operator, with a photograph on the way. Or a file opened whose job ran."""
    if WANTED.get("blend"):
        bpy.ops.wm.open_mainfile(filepath=f"{JOB}/job.blend", load_ui=False)
        bpy.context.scene.bozzetto.output = "/pictures"
        for row in bpy.context.scene.bozzetto.intake.scans:
            row.file = f"{JOB}/{os.path.basename(row.file)}"
        runner, steps = importlib.import_module(f"{MODULE}.job.runner"), importlib.import_module(f"{MODULE}.steps").catalogue()
        stage = importlib.import_module(f"{MODULE}.ui.job_state").stage_of(bpy.context)
        for step in steps:  # the scans are the same, only their place is another
            if stage.stamp(step.name):
                stage.set_stamp(step.name, runner.stamp(step, stage.sheet, steps, stage))
        window, area, _ = view3d()
        with bpy.context.temp_override(window=window, area=area):
            bpy.ops.ed.undo_push(message="opened")
        for _ in range(3):
            yield
        return
    window, area, _ = view3d()
    region = next(r for r in area.regions if r.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        log("click", bpy.ops.bozzetto.run_job("INVOKE_DEFAULT", last=WANTED["until"]))
    started, pictured = time.time(), False
    while any(operator.bl_idname == "BOZZETTO_OT_run_job" for operator in window.modal_operators):
        if time.time() - started > RUN_SECONDS:
            raise TimeoutError("the click did not end")
        if not pictured and time.time() - started > 3.0:
            pictured = True
            shot("2-running")
        yield
    log("ran", f"{time.time() - started:.0f} s", "objects", sorted(o.name for o in bpy.data.objects))


def sharp_zone(area: Any, window: Any, panels: OpenPanels) -> Iterator[None]:
    """The hero's sharp zone drawn on the piece: from the side, where the planes show as cuts, and through the camera."""
    space = area.spaces.active
    bpy.context.window_manager.bozzetto_show_sharp = True
    turn = bpy.context.scene.camera.rotation_euler.copy()
    around = [item for item in bpy.context.scene.objects if item.get("bozzetto_role") not in ("piece", "stand")]
    hidden = [item for item in around if not item.hide_get()]
    for name, degrees in (("side", 70.0), ("oblique", 25.0)):
        for item in hidden:  # the room's walls stand between
            item.hide_set(True)
        space.region_3d.view_perspective = "ORTHO"
        turned = turn.copy()
        turned.z += math.radians(degrees)
        space.region_3d.view_rotation = turned.to_quaternion()
        yield
        frame_subject(area, window)
        bpy.ops.object.select_all(action="DESELECT")
        yield
        yield from redrawn(f"4-sharp-{name}")
    for item in hidden:
        item.hide_set(False)
    panels.show("shots", "lens")
    view = space.region_3d
    view.view_perspective, view.view_camera_zoom, view.view_camera_offset = "CAMERA", 10.0, (0.08, 0.0)
    yield
    yield from redrawn("4-sharp-camera")
    panels.clear()
    yield


def questions(area: Any, window: Any) -> Iterator[None]:
    """The dialogs: one that can be had, one that can't, the distance, the focal length."""
    manager, camera = bpy.context.window_manager, bpy.context.scene.camera
    back = camera.matrix_world.col[2].to_3d()
    for name, share in (("bozzetto_hold_from", 0.5), ("bozzetto_hold_to", 3.0)):  # far more than any lens holds
        setattr(manager, name, camera.matrix_world.translation - back * (camera["bozzetto_focus_mm"] / 1000.0 * share))
    ask = bpy.ops.bozzetto
    region = next(r for r in area.regions if r.type == "WINDOW")
    for name, operator, settings in (
        ("seen", ask.lens_hold, {"what": "WHOLE"}), ("no-lens", ask.lens_hold, {"what": "POINTS", "instead": "BRACKET"}),
        ("fill", ask.lens_fill, {}), ("focal", ask.lens_focal, {"focal": 150.0}),
    ):  # fmt: skip
        window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=window.width // 3, y=window.height // 2)
        yield
        with bpy.context.temp_override(window=window, area=area, region=region):
            log("ask", operator("INVOKE_DEFAULT", **settings))
        yield
        yield from redrawn(f"5-question-{name}")
        window.event_simulate(type="ESC", value="PRESS", x=window.width // 3, y=window.height // 2)
        yield


def shot_row(panels: OpenPanels) -> Iterator[None]:
    """The camera's panel with one own shot in its list."""
    bpy.ops.bozzetto.row(step="camera", field="shots", action="ADD")
    panels.show("shots")
    yield
    yield from redrawn("6-own-shot")
    panels.clear()
    yield


def steps() -> Iterator[None]:
    """The whole session."""
    import gpu

    log(bpy.app.version_string, gpu.platform.renderer_get(), gpu.platform.version_get())
    for block in list(bpy.data.objects):
        bpy.data.objects.remove(block)
    window, area, ui = view3d()
    area.spaces.active.show_region_ui = True
    yield  # the region must be drawn once before its tab can be set
    ui = view3d()[2]
    ui.active_panel_category = CATEGORY  # TypeError if no panel has that category
    assert ui.active_panel_category == CATEGORY
    yield
    wide_sidebar(view3d()[2], window, area)
    yield
    yield from redrawn("0-first")
    with bpy.context.temp_override(window=window, area=area):
        bpy.ops.bozzetto.read_sheet(filepath=f"{JOB}/{WANTED['sheet']}")
    bpy.context.scene.bozzetto.output = "/pictures"
    panels = OpenPanels()
    if WANTED.get("session"):  # another module beside this one says what is done
        sys.path.insert(0, "/shots")
        desk = Desk(window, log, WANTED, redrawn, clicked, shot, view3d, OpenPanels)
        yield from importlib.import_module(WANTED["session"]).session(desk)
        return
    yield from photographs("1-before", panels)
    yield from clicked()
    if not any(o.get("bozzetto_role") == "piece" for o in bpy.data.objects):
        raise AssertionError("the click made no piece")
    for _ in range(12):  # the view goes on drawing while nobody touches anything
        yield
    yield from redrawn("3-view")
    frame_subject(area, window)
    yield
    yield from photographs("3-after", panels)
    yield from sharp_zone(area, window, panels)
    yield from questions(area, window)
    yield from shot_row(panels)


GENERATOR = steps()


def tick() -> float | None:
    """Do the next thing; the seconds until the one after it, None at the end."""
    try:
        next(GENERATOR)
        return 0.3 if WANTED.get("session") else 0.7
    except StopIteration:
        code = 0
    except BaseException:
        traceback.print_exc()
        code = 3
    log("exit", code)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


bpy.app.timers.register(tick, first_interval=2.0, persistent=True)  # it goes on when another file is opened
