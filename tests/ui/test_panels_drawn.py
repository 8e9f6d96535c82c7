"""What do the panels show? Drawn on a layout that notes all and takes no setting, operator or menu that does not exist."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import bpy
import pytest
from PIL import Image

import blender_addon
from blender_addon.job.settings import matters, specs
from blender_addon.job.step import FOLDERS
from blender_addon.steps import catalogue
from blender_addon.ui import panels, preferences
from blender_addon.ui.on_screen import has_switch

SAMPLE = Path(__file__).parents[1] / "samples" / "0.1.0" / "job.blend"
NESTED = ("row", "column", "box", "split", "grid_flow", "column_flow")


class Button:
    """The settings of an operator's button; only those that the operator has can be set."""

    def __init__(self, name: str):
        self.__dict__["known"] = getattr(bpy.ops.bozzetto, name.removeprefix("bozzetto.")).get_rna_type().properties.keys()

    def __setattr__(self, name: str, value: Any) -> None:
        assert name in self.known, name
        self.__dict__[name] = value


class Layout:
    """Notes what is drawn: texts, (group, setting) pairs, (operator's name, its button, whether it can be pressed), menus."""

    def __init__(self, above: Layout | None = None):
        self.above, self.enabled, self.heading = above, True, ""
        self.seen: SimpleNamespace = above.seen if above else SimpleNamespace(words=[], props=[], buttons=[], menus=[], icons=0)

    def __getattr__(self, name: str) -> Any:
        if name in NESTED:
            return lambda **how: self._within(how)
        if name in ("separator", "template_list"):
            return lambda *what, **how: None
        raise AttributeError(name)

    def _within(self, how: dict[str, Any]) -> Layout:
        """A part of the layout. Blender draws a heading only before a switch, so it counts only once one follows it."""
        part = Layout(self)
        part.heading = how.get("heading", "")
        return part

    def can_be_pressed(self) -> bool:
        return bool(self.enabled) and (self.above is None or self.above.can_be_pressed())

    def label(self, *, text: str = "", icon: str = "NONE") -> None:
        self.seen.words.append(text)

    def prop(self, data: Any, name: str, **how: Any) -> None:
        assert name[2:-2] in data if name.startswith('["') else name in data.bl_rna.properties, (data, name)
        self.seen.props.append((data, name))
        if self.heading and name in data.bl_rna.properties and data.bl_rna.properties[name].type == "BOOLEAN":
            self.seen.words.append(self.heading)
            self.heading = ""

    def operator(self, name: str, *, text: str = "", icon: str = "NONE", **how: Any) -> Button:
        button = Button(name)
        self.seen.buttons.append((name, button, self.can_be_pressed(), text))
        return button

    def menu(self, name: str, **how: Any) -> None:
        assert hasattr(bpy.types, name), name
        self.seen.menus.append(name)

    def template_icon(self, **how: Any) -> None:
        self.seen.icons += 1

    def panel(self, name: str, *, default_closed: bool = False) -> tuple[Layout, Layout]:
        return Layout(self), Layout(self)


class Context:
    """Blender's context with a sidebar 320 pixels wide, at an interface scale of 1 (without a window there is none)."""

    region = SimpleNamespace(width=320.0)
    preferences = SimpleNamespace(system=SimpleNamespace(ui_scale=1.0))

    def __getattr__(self, name: str) -> Any:
        return getattr(bpy.context, name)


@pytest.fixture(autouse=True)
def registered() -> Iterator[None]:
    """The add-on, in an empty file."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    mine = not blender_addon.registered()
    if mine:
        blender_addon.register()
    yield
    if mine:
        blender_addon.unregister()


def drawn(name: str, method: str = "draw") -> SimpleNamespace:
    """What a panel or a menu draws."""
    cls = next(cls for cls in panels.classes() if cls.__name__ == name)
    layout = Layout()
    getattr(cls, method)(SimpleNamespace(layout=layout), Context())
    return layout.seen


def words(seen: SimpleNamespace) -> str:
    return " ".join(filter(None, seen.words))


def test_the_first_panel_asks_for_the_scan_and_its_button_waits_for_it(tmp_path: Path) -> None:
    job = bpy.context.scene.bozzetto
    seen = drawn("BOZZETTO_PT_job")
    run = [button for button in seen.buttons if button[0] == "bozzetto.run_job"]
    assert [(pressed, text) for _, _, pressed, text in run] == [(False, "Make the pictures")]
    assert "Choose the scan first" in words(seen)
    assert {name for data, name in seen.props if data == job} >= {"scan", "stand_scan", "output"}
    assert {name for name, *_ in seen.buttons} >= {"bozzetto.read_sheet", "bozzetto.write_sheet"}
    job.scan = str(tmp_path / "gone.obj")
    assert 'there is no file "gone.obj"' in words(drawn("BOZZETTO_PT_job"))
    (tmp_path / "gone.obj").write_text("o x\n")
    seen = drawn("BOZZETTO_PT_job")
    assert [pressed for name, _, pressed, _ in seen.buttons if name == "bozzetto.run_job"] == [True]
    assert "first" not in words(seen)


@pytest.mark.parametrize("step", [step.name for step in catalogue()])
def test_a_steps_panel_draws_each_setting_that_matters_once_and_its_buttons(step: str) -> None:
    found = next(each for each in catalogue() if each.name == step)
    group = getattr(bpy.context.scene.bozzetto, step)
    seen = drawn(f"BOZZETTO_PT_{step}")
    names = [name for data, name in seen.props if data == group]
    assert len(names) == len(set(names))
    for name, spec in specs(found.settings).items():
        shown = matters(spec, lambda other: getattr(group, other))
        if spec.kind == "table":
            assert not shown or any(button.field == name for kind, button, *_ in seen.buttons if kind == "bozzetto.row")
        elif has_switch(spec):
            assert (f"use_{name}" in names) == shown and (name in names) == (shown and getattr(group, f"use_{name}"))
        else:
            assert (name in names) == shown, name
    run = [(button, pressed) for kind, button, pressed, _ in seen.buttons if kind == "bozzetto.run_job"]
    assert [(button.first, button.last) for button, _ in run if hasattr(button, "first")][-1] == (step, step)
    assert f"BOZZETTO_MT_{step}" in seen.menus
    assert run[-1][1] == (not found.needs), "what needs an earlier step waits for it"


def test_rows_of_a_table_have_their_fields_and_can_be_taken_away() -> None:
    scans = bpy.context.scene.bozzetto.intake.scans
    for name in ("piece.obj", "stand.obj"):
        scans.add().file = name
    seen = drawn("BOZZETTO_PT_intake")
    assert [(data.file) for data, name in seen.props if name == "file"] == ["piece.obj", "stand.obj"]
    rows = [(button.action, button.index) for kind, button, *_ in seen.buttons if kind == "bozzetto.row"]
    assert rows == [("ADD", 0), ("REMOVE", 0), ("REMOVE", 1)]


def test_a_setting_that_is_automatic_says_so_and_shows_its_value_when_switched_on() -> None:
    group = bpy.context.scene.bozzetto.tabletop
    assert "Auto" in drawn("BOZZETTO_PT_tabletop").words
    assert "board_width" not in [name for _, name in drawn("BOZZETTO_PT_tabletop").props]
    group.kind, group.use_board_width = "planks", True
    assert "board_width" in [name for _, name in drawn("BOZZETTO_PT_tabletop").props]


def test_what_was_not_given_says_so_and_can_be_picked_in_the_view_at_once() -> None:
    group = bpy.context.scene.bozzetto.orientation
    seen = drawn("BOZZETTO_PT_orientation")
    assert not group.use_point_a and seen.words.count("Not given") >= 2 and "point_a" not in [name for _, name in seen.props]
    picked = [button.field for name, button, *_ in seen.buttons if name == "bozzetto.pick_point"]
    assert picked == ["point_a", "point_b"], "and a direction is no place"
    assert "Off: not given" in group.bl_rna.properties["use_point_a"].description
    assert group.bl_rna.properties["use_front"].description.endswith("Off: proposed by the piece's symmetry")


def test_a_label_too_long_for_its_share_of_a_row_is_written_out_before_its_control(monkeypatch: pytest.MonkeyPatch) -> None:
    long, short = "Circle of confusion", "Pupil ratio"
    seen = drawn("BOZZETTO_PT_camera")
    assert long in seen.words and short not in seen.words, "a label that fits is left to Blender"
    monkeypatch.setattr(Context, "region", SimpleNamespace(width=700.0))
    seen = drawn("BOZZETTO_PT_camera")
    assert long not in seen.words and "sharpness" in [name for _, name in seen.props]


def test_a_switch_of_the_view_is_offered_where_there_is_something_to_show() -> None:
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLE))
    shown = {"orientation": "support", "separation": "line", "camera": "keep_out"}

    def offered(step: str) -> bool:
        return f"bozzetto_show_{shown[step]}" in [prop for _, prop in drawn(f"BOZZETTO_PT_{step}").props]

    assert [step for step in shown if offered(step)] == ["orientation", "camera"], "this piece has no stand"
    for item in [item for item in bpy.context.scene.objects if item.get("bozzetto_role") in ("shot", "piece", "upright")]:
        bpy.data.objects.remove(item)
    assert not any(offered(step) for step in shown)


def test_a_finished_job_says_what_each_step_found_and_offers_the_rest() -> None:
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLE))
    scene = bpy.context.scene
    state = panels.state_of(scene)
    assert len(state.results) > 5
    for step in catalogue():
        seen, header = drawn(f"BOZZETTO_PT_{step.name}"), drawn(f"BOZZETTO_PT_{step.name}", "draw_header_preset")
        texts = [text for kind, _, _, text in seen.buttons if kind == "bozzetto.run_job"]
        if step.name in state.results:
            found = " ".join(str(state.results[step.name]["words"]).split())
            assert found in " ".join(words(seen).split()) and texts[-1] == "Run again"
            assert ("Out of date" in words(seen)) == (step.name in state.late) == (header.words == ["out of date"])
        else:
            assert texts[-1] == "Run" and header.words == [""]
    seen = drawn("BOZZETTO_PT_job")
    assert [text for kind, button, _, text in seen.buttons if getattr(button, "changed", False)]
    assert "bozzetto.open_folder" in [name for name, *_ in seen.buttons]


def test_what_failed_is_said_on_the_first_panel_and_on_its_steps() -> None:
    job = bpy.context.scene.bozzetto
    job.failed_step, job.failed_words = "orientation", "The piece has no height: set one"
    label = next(step.label for step in catalogue() if step.name == "orientation")
    assert f"{label}: The piece has no height: set one" in words(drawn("BOZZETTO_PT_job"))
    assert "Failed: The piece has no height" in words(drawn("BOZZETTO_PT_orientation"))
    assert drawn("BOZZETTO_PT_orientation", "draw_header_preset").words == ["failed"]
    assert "Failed" not in words(drawn("BOZZETTO_PT_intake"))
    job.scan = ""
    assert job.failed_words, "nothing was chosen"
    job.scan = "another.obj"
    assert "set one" not in words(drawn("BOZZETTO_PT_job")), "it was said of another scan"


@pytest.mark.parametrize("step", [step.name for step in catalogue()][:3])
def test_a_steps_menu_runs_from_here_until_here_and_resets(step: str) -> None:
    seen = drawn(f"BOZZETTO_MT_{step}")
    runs = [button for kind, button, *_ in seen.buttons if kind == "bozzetto.run_job"]
    assert [(getattr(b, "first", ""), b.last, getattr(b, "afresh", False)) for b in runs] == [
        (step, "", False), (step, step, True), ("", step, False),
    ]  # fmt: skip
    assert [b.step for kind, b, *_ in seen.buttons if kind == "bozzetto.default_settings"] == [step]


def test_five_panels_hold_the_steps_in_the_order_of_the_work() -> None:
    parents = {cls.bl_idname: getattr(cls, "bl_parent_id", "") for cls in panels.classes() if issubclass(cls, bpy.types.Panel)}
    order = [f"BOZZETTO_PT_{folder}" for folder in FOLDERS]
    assert [name for name in parents if name in order] == order
    for step in catalogue():
        assert parents[f"BOZZETTO_PT_{step.name}"] == f"BOZZETTO_PT_{step.folder}"


def test_the_lens_panel_shows_all_shots_and_the_lens_of_the_one_in_view() -> None:
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLE))
    scene, panel = bpy.context.scene, next(cls for cls in panels.classes() if cls.__name__ == "BOZZETTO_PT_lens")
    assert panel.poll(Context())  # type: ignore[attr-defined]
    scene.camera = None
    seen = drawn("BOZZETTO_PT_lens")
    shots = [(text, button.shot) for name, button, _, text in seen.buttons if name == "bozzetto.view_shot"]
    assert shots == [(key, f"Shot {key}") for key in ("hero", "detail", "back", "turntable")]
    assert "Choose a shot" in words(seen) and "bozzetto.lens_fill" not in [name for name, *_ in seen.buttons]
    scene.camera = bpy.data.objects["Shot detail"]
    scene.camera["bozzetto_fnumber"] = 8.0
    seen = drawn("BOZZETTO_PT_lens")
    of_lens = [name for data, name in seen.props if data == scene.camera]
    assert of_lens == [f'["bozzetto_{name}"]' for name in ("focal_mm", "fnumber", "focus_mm", "format", "format")]
    assert {name for name, *_ in seen.buttons} >= {"bozzetto.lens_hold", "bozzetto.lens_fill", "bozzetto.lens_focal"}
    assert "From: not picked yet" in seen.words and "Choose a shot" not in words(seen)
    bpy.context.window_manager.bozzetto_hold_from = (0.0, 0.01, 0.02)
    assert "From: not picked yet" not in drawn("BOZZETTO_PT_lens").words and "To: not picked yet" in seen.words
    bpy.context.window_manager.property_unset("bozzetto_hold_from")


def test_finished_pictures_are_shown_small_and_open_large(tmp_path: Path) -> None:
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLE))
    scene, panel = bpy.context.scene, next(cls for cls in panels.classes() if cls.__name__ == "BOZZETTO_PT_pictures")
    scene.bozzetto.output = str(tmp_path)
    assert not panel.poll(Context())  # type: ignore[attr-defined]
    (tmp_path / "pictures").mkdir()
    for key in ("back", "hero"):
        Image.new("RGB", (8, 6), "red").save(tmp_path / "pictures" / f"{key}.png")
    assert panel.poll(Context())  # type: ignore[attr-defined]
    seen = drawn("BOZZETTO_PT_pictures")
    opens = [(text, Path(button.filepath)) for name, button, *_, text in seen.buttons if name == "bozzetto.open_picture"]
    assert opens == [(key.capitalize(), tmp_path / "pictures" / f"{key}.png") for key in ("hero", "back")] and seen.icons == 2
    assert bpy.ops.bozzetto.open_picture(filepath=str(tmp_path / "gone.png")) == {"CANCELLED"}


def test_the_preferences_say_what_their_settings_are_for() -> None:
    """Drawn on the preferences' own class: a heading of a column of menus would never be seen."""
    names = list(preferences.preferences_class().__annotations__)
    own = type("Own", (bpy.types.PropertyGroup,), {"__annotations__": preferences.preferences_class().__annotations__})
    bpy.utils.register_class(own)
    try:
        layout = Layout()
        preferences._draw(SimpleNamespace(layout=layout, bl_rna=own.bl_rna), Context())  # type: ignore[arg-type]
    finally:
        bpy.utils.unregister_class(own)
    assert [name for _, name in layout.seen.props] == names and len(names) > 3
    assert "New jobs begin with" in layout.seen.words
