"""Runs inside the window's Blender after `drive.py`: operators called at random, as nobody would; none may raise or crash.

What a person would have to mend is reported in words and counts as well answered; a traceback is a failure.
"""

from __future__ import annotations

import importlib
import random
import traceback
from collections.abc import Callable, Iterator
from typing import Any

import bpy

OUT, JOB = "/shots/out", "/scans"
MODULE = "bl_ext.user_default.bozzetto"
REST = 3
"""Acts between two redraws of the window."""
Act = Callable[[random.Random], Any]


def session(window: Any, log: Callable[..., None], wanted: dict[str, Any], keep: Callable[..., None]) -> Iterator[None]:
    """So many acts, drawn with a seed; the tab is drawn after each."""
    chance = random.Random(10 + int(wanted.get("seed", 1)))
    job = Acts(window)
    done, failures, kinds = 0, [], {}
    job.start(chance)
    for _ in range(int(wanted["fuzz"])):
        name, act = job.draw(chance)
        area, region = job.view()
        try:
            with bpy.context.temp_override(window=job.window, area=area, region=region):  # a reload gives another window
                act(chance)
        except RuntimeError as error:
            if "Traceback" in str(error):
                failures.append(f"{name}: {str(error).strip().splitlines()[-1]}")
        except Exception:
            failures.append(f"{name}: {traceback.format_exc().strip().splitlines()[-1]}")
        done += 1
        kinds[name] = kinds.get(name, 0) + 1
        if done % 20 == 0:
            keep(fuzz_operators=done, fuzz_failures=len(failures), fuzz_failed=failures[:20])
        if done % REST == 0:
            for part in job.window.screen.areas:
                part.tag_redraw()
            yield
    keep(fuzz_operators=done, fuzz_failures=len(failures), fuzz_failed=failures[:20], fuzz_kinds=kinds)


class Acts:
    """What can be done to a job, by name."""

    def __init__(self, window: Any):
        self.window = window
        self.steps = importlib.import_module(f"{MODULE}.steps").catalogue()
        self.run_by = [step.name for step in self.steps if step.folder in ("scan", "shots")]

    def view(self) -> tuple[Any, Any]:
        """The largest 3D view and its main region."""
        area = max((a for a in self.window.screen.areas if a.type == "VIEW_3D"), key=lambda a: a.width * a.height)
        return area, next(region for region in area.regions if region.type == "WINDOW")

    def start(self, chance: random.Random) -> None:
        """A job that ran until Orientation."""
        bpy.ops.bozzetto.read_sheet(filepath=f"{JOB}/knob.toml")
        self.window.scene.bozzetto.output = f"{OUT}/fuzz"
        bpy.ops.bozzetto.run_job(last="separation")

    def draw(self, chance: random.Random) -> tuple[str, Act]:
        """One act by its weight."""
        acts: list[tuple[int, str, Act]] = [
            (5, "run a step", self.run_step), (2, "bring up to date", self.bring_up),
            (10, "change a setting", self.setting), (8, "undo", lambda _: bpy.ops.ed.undo()),
            (6, "redo", lambda _: bpy.ops.ed.redo()), (6, "delete an object", self.delete), (5, "rename", self.rename),
            (5, "move", self.move), (2, "rename the scene", self.rename_scene), (2, "another scene", self.scene),
            (3, "switch scene", self.switch), (2, "edit mode", self.mode), (2, "reload", self.reload),
            (4, "a row", self.row), (3, "view a shot", self.view_shot), (3, "an answer", self.answer),
            (3, "front", lambda c: bpy.ops.bozzetto.set_front(angle=c.uniform(-3.0, 3.0))),
            (2, "fit", lambda c: bpy.ops.bozzetto.set_pose(scan="2", candidate=c.randint(1, 4))),
            (2, "paint", lambda _: bpy.ops.bozzetto.paint_stand()), (2, "defaults", self.defaults),
            (2, "draw shots", lambda _: bpy.ops.bozzetto.draw_shots()),
            (2, "hold", lambda c: bpy.ops.bozzetto.lens_hold(what=c.choice(("POINTS", "FACE", "WHOLE")))),
            (1, "fill", lambda c: bpy.ops.bozzetto.lens_fill(share=c.uniform(5.0, 98.0))),
            (1, "focal", lambda c: bpy.ops.bozzetto.lens_focal(focal=c.uniform(2.0, 1200.0))),
            (2, "sheet out", lambda _: bpy.ops.bozzetto.write_sheet(filepath=f"{OUT}/fuzz.toml")),
            (2, "sheet in", lambda _: bpy.ops.bozzetto.read_sheet(filepath=f"{OUT}/fuzz.toml")),
            (2, "cursor", self.cursor), (2, "drop", self.drop),
            (1, "material by picture", lambda c: bpy.ops.bozzetto.set_material(sample=c.randint(0, 60))),
            (2, "look", lambda c: bpy.ops.bozzetto.drop_scan("EXEC_DEFAULT", filepath=f"{JOB}/knob.toml", take="LOOK")),
            (1, "open", self.open_picture),
        ]  # fmt: skip
        _, name, act = chance.choices(acts, [weight for weight, *_ in acts])[0]
        return name, act

    def run_step(self, chance: random.Random) -> None:
        name = chance.choice(self.run_by)
        bpy.ops.bozzetto.run_job(first=name, last=name, afresh=chance.random() < 0.2)

    def bring_up(self, chance: random.Random) -> None:
        bpy.ops.bozzetto.run_job(changed=True, folder="shots")

    def setting(self, chance: random.Random) -> None:
        """A random value into a random setting."""
        step = chance.choice(self.steps).name
        group = getattr(bpy.context.scene.bozzetto, step)
        names = [p for p in group.bl_rna.properties if p.identifier not in ("rna_type", "name") and not p.is_readonly]
        if not names:
            return
        name = chance.choice(names)
        if name.type == "BOOLEAN" and not name.is_array:
            setattr(group, name.identifier, chance.random() < 0.5)
        elif name.type == "ENUM" and len(name.enum_items):
            setattr(group, name.identifier, chance.choice([item.identifier for item in name.enum_items]))
        elif name.type == "FLOAT" and not name.is_array:
            setattr(group, name.identifier, chance.uniform(max(name.hard_min, -100.0), min(name.hard_max, 100.0)))
        elif name.type == "INT" and not name.is_array:
            low = max(name.hard_min, 0)
            setattr(group, name.identifier, chance.randint(low, min(name.hard_max, low + 500)))

    def thing(self, chance: random.Random) -> Any:
        """Any object of the scene, or None."""
        things = list(bpy.context.scene.objects)
        return chance.choice(things) if things else None

    def delete(self, chance: random.Random) -> None:
        thing = self.thing(chance)
        if thing is not None:
            bpy.data.objects.remove(thing)
            bpy.ops.ed.undo_push(message="delete")

    def rename(self, chance: random.Random) -> None:
        thing = self.thing(chance)
        if thing is not None:
            thing.name = chance.choice(("Piece", "My own", "Ünïcode 名", "x" * 63, "Stand", "Shot hero"))
            bpy.ops.ed.undo_push(message="rename")

    def move(self, chance: random.Random) -> None:
        thing = self.thing(chance)
        if thing is not None:
            thing.location.x += 0.01
            bpy.ops.ed.undo_push(message="move")

    def rename_scene(self, chance: random.Random) -> None:
        self.window.scene.name = chance.choice(("Owl", "Scene", "Spring", "a/b"))
        bpy.ops.ed.undo_push(message="rename scene")

    def scene(self, chance: random.Random) -> None:
        if len(bpy.data.scenes) < 4:
            bpy.ops.scene.new(type=chance.choice(("EMPTY", "LINK_COPY", "FULL_COPY", "NEW")))

    def switch(self, chance: random.Random) -> None:
        self.window.scene = chance.choice(list(bpy.data.scenes))

    def mode(self, chance: random.Random) -> None:
        thing = self.thing(chance)
        if thing is not None and thing.type == "MESH" and thing.visible_get():
            bpy.context.view_layer.objects.active = thing
            bpy.ops.object.mode_set(mode=chance.choice(("EDIT", "SCULPT", "OBJECT")))

    def reload(self, chance: random.Random) -> None:
        """Save the file and open it again; the window stays, its data are new."""
        bpy.ops.wm.save_as_mainfile(filepath=f"{OUT}/fuzz.blend", check_existing=False)
        bpy.ops.wm.revert_mainfile(use_scripts=False)
        self.window = bpy.context.window_manager.windows[0]

    def row(self, chance: random.Random) -> None:
        step, field = chance.choice(
            (("intake", "scans"), ("camera", "shots"), ("registration", "choices"), ("material", "regions"))
        )
        bpy.ops.bozzetto.row(step=step, field=field, action=chance.choice(("ADD", "REMOVE")), index=chance.randint(0, 3))

    def view_shot(self, chance: random.Random) -> None:
        bpy.ops.bozzetto.view_shot(shot=chance.choice(("Shot hero", "Shot back", "none")))

    def answer(self, chance: random.Random) -> None:
        found = importlib.import_module(f"{MODULE}.ui.job_state").refreshed(bpy.context.scene).open
        step, key = (found[0].step, found[0].decision.key) if found else ("orientation", "up")
        bpy.ops.bozzetto.answer("EXEC_DEFAULT", step=step, key=key, way=chance.randint(0, 3))

    def defaults(self, chance: random.Random) -> None:
        bpy.ops.bozzetto.default_settings(step=chance.choice(self.run_by[1:]))

    def cursor(self, chance: random.Random) -> None:
        field = chance.choice(("point_a", "point_b"))
        bpy.ops.bozzetto.point_from_cursor(group="bozzetto.orientation", field=field)

    def drop(self, chance: random.Random) -> None:
        name = chance.choice(("knob.obj", "missing.obj", "knob.toml"))
        bpy.ops.bozzetto.drop_scan("EXEC_DEFAULT", filepath=f"{JOB}/{name}")

    def open_picture(self, chance: random.Random) -> None:
        bpy.ops.bozzetto.open_picture(filepath=f"{OUT}/none.png")
