"""Loads and saves jobs: as job sheets, from the list of recent ones, by a file dropped into the view."""

import re
from pathlib import Path
from typing import ClassVar

import bpy
from bpy.props import BoolProperty, CollectionProperty, EnumProperty, StringProperty

from ..job.errors import JobError, OutputError
from ..job.sheet import read, written
from ..scene.running.session import write_text
from ..steps import catalogue
from .folders import recent, remember
from .looks.kept import take_look
from .on_screen import sheet_of
from .properties import asked_rows, fill

SCANS = (".obj", ".ply", ".stl", ".glb", ".gltf", ".fbx", ".usd", ".usda", ".usdc", ".usdz")


TAKES = [
    ("ALL", "The whole job", "All its settings, with its scan in place of this one"),
    ("LOOK", "Only its look", "Its material, shots, table and light; this job's scan, size and stand stay"),
]
"""What can be used from a dropped job sheet."""


def load(operator: bpy.types.Operator, context: bpy.types.Context, path: Path, *, only_look: bool = False) -> set[str]:
    """Fill in all settings from a job sheet, or only its look; errors are reported."""
    try:
        sheet = read(path, catalogue())
        if only_look:
            take_look(context.scene, sheet)
        else:
            fill(context.scene, sheet, catalogue())
    except JobError as error:
        operator.report({"ERROR"}, str(error))
        return {"CANCELLED"}
    remember(path)
    return {"FINISHED"}


class BOZZETTO_OT_read_sheet(bpy.types.Operator):
    """Load a job: fill in all settings from its job sheet (.toml), or only its look"""

    bl_idname = "bozzetto.read_sheet"
    bl_label = "Load job"
    bl_options = {"UNDO"}

    filepath: StringProperty(subtype="FILE_PATH")
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
    only_look: BoolProperty(
        name="Only its look", description="Keep this job's scan, size and stand; take material, shots, table and light",
        options={"SKIP_SAVE"},
    )  # fmt: skip

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Open the file browser."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Read it and show it."""
        return load(self, context, Path(self.filepath), only_look=self.only_look)


class BOZZETTO_OT_write_sheet(bpy.types.Operator):
    """Save the job: write all settings that differ from their defaults as a job sheet (.toml), for a batch or the next piece"""

    bl_idname = "bozzetto.write_sheet"
    bl_label = "Save job"

    filepath: StringProperty(subtype="FILE_PATH", default="job.toml")
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
    check_existing: BoolProperty(default=True, options={"HIDDEN"})  # the file browser asks before it names a file that is there

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Open the file browser."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write the sheet, whole or not at all, with `.toml` added to the name where it is missing."""
        try:
            path = sheet_path(self.filepath)
            write_text(path, written(sheet_of(context.scene, catalogue()), catalogue()))
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        remember(path)
        return {"FINISHED"}


def sheet_path(chosen_path: str) -> Path:
    """Where a sheet is written: the chosen path, with `.toml` added to any other ending.

    Raises OutputError where a file stands that is no job sheet, or that the file browser did not ask about.
    """
    path = Path(chosen_path)
    if path.suffix.lower() != ".toml":
        path = path.with_name(f"{path.name}.toml")
        if path.exists():  # the file browser asked about another name
            raise OutputError(f'"{path}" is already there: choose another name')
    elif path.exists():
        try:
            ours = re.search(r"^\s*bozzetto\s*=", path.read_text(encoding="utf-8-sig"), re.MULTILINE) is not None
        except (OSError, ValueError):
            ours = False
        if not ours:
            raise OutputError(f'"{path}" is there and is no job sheet, so it is left alone: choose another name')
    return path


class BOZZETTO_OT_load_recent(bpy.types.Operator):
    """Load this job again"""

    bl_idname = "bozzetto.load_recent"
    bl_label = "Load recent job"
    bl_options = {"INTERNAL", "UNDO"}

    filepath: StringProperty(options={"SKIP_SAVE"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        """As if it had been chosen in the file browser."""
        return load(self, context, Path(self.filepath))


class BOZZETTO_MT_recent(bpy.types.Menu):
    """Jobs that were loaded or saved lately"""

    bl_idname = "BOZZETTO_MT_recent"
    bl_label = "Recent jobs"

    def draw(self, context: bpy.types.Context) -> None:
        """One line per job: its name and its folder's."""
        found = recent()
        for path in found:
            text = f"{path.stem}  ({path.parent.name})"
            self.layout.operator("bozzetto.load_recent", text=text, icon="FILE").filepath = str(path)
        if not found:
            self.layout.label(text="No job was loaded or saved yet")


def _dropped_as(operator: bpy.types.Operator, context: bpy.types.Context) -> list[tuple[str, str, str]]:
    """The roles of a dropped scan; stored in the class, because Blender keeps no reference to such lists."""
    items = [(asked.name, asked.label, asked.help) for _, asked in asked_rows()]
    BOZZETTO_OT_drop_scan.kept = items
    return items


class BOZZETTO_OT_drop_scan(bpy.types.Operator):
    """Use a dropped file as this job's scan or its stand's; from a dropped job sheet use everything, or only its look"""

    bl_idname = "bozzetto.drop_scan"
    bl_label = "Scan or job for Bozzetto"
    bl_options = {"INTERNAL", "UNDO"}

    directory: StringProperty(subtype="DIR_PATH", options={"SKIP_SAVE", "HIDDEN"})
    files: CollectionProperty(type=bpy.types.OperatorFileListElement, options={"SKIP_SAVE", "HIDDEN"})
    filepath: StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE", "HIDDEN"})
    use_as: EnumProperty(name="It is", description="What the dropped file shows", items=_dropped_as, options={"SKIP_SAVE"})
    take: EnumProperty(  # an answer given once must not hold for the next file, which may be dropped without a question
        name="Use", description="What is used from the dropped job sheet", items=TAKES, options={"SKIP_SAVE"}
    )
    kept: ClassVar[list[tuple[str, str, str]]] = []

    def _paths(self) -> list[Path]:
        paths = [Path(self.directory) / file.name for file in self.files if file.name]
        return paths or ([Path(self.filepath)] if self.filepath else [])

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Use a single scan as the main scan if none is chosen; otherwise ask."""
        paths = self._paths()
        if not paths:
            return {"CANCELLED"}
        job, names = context.scene.bozzetto, [asked.name for _, asked in asked_rows()]
        if len(paths) > 1 or not getattr(job, names[0]):
            return self.execute(context)
        if paths[0].suffix.lower() == ".toml":
            self.take = "LOOK"
            return set(context.window_manager.invoke_props_dialog(self, width=420, title=paths[0].name, confirm_text="Use it"))
        self.use_as = next((name for name in names if not getattr(job, name)), names[0])
        return set(context.window_manager.invoke_props_dialog(self, width=420, title=paths[0].name, confirm_text="Use it"))

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the question, and what the chosen answer does to this job."""
        asked, layout = "take" if self._paths()[0].suffix.lower() == ".toml" else "use_as", self.layout
        layout.label(
            text="This job has a scan already. What should be used from the dropped job?"
            if asked == "take"
            else "What does it show?"
        )
        layout.row().prop(self, asked, expand=True)
        if asked == "take":
            words = next(item[2] for item in TAKES if item[0] == self.take)
        else:
            now = getattr(context.scene.bozzetto, self.use_as)
            words = f'It replaces "{Path(now).name}"' if now else "The present scan stays"
        layout.label(text=words)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write the file, or the first files, into the settings."""
        paths, job = self._paths(), context.scene.bozzetto
        if not paths:
            return {"CANCELLED"}
        if paths[0].suffix.lower() == ".toml":
            return load(self, context, paths[0], only_look=self.take == "LOOK")
        names = [asked.name for _, asked in asked_rows()]
        if len(paths) == 1:
            first = names[0] if not getattr(job, names[0]) else self.use_as
            setattr(job, first, str(paths[0]))
            return {"FINISHED"}
        for name, path in zip(names, paths, strict=False):
            setattr(job, name, str(path))
        if len(paths) > len(names):
            self.report(
                {"WARNING"}, f"Only the first {len(names)} files were used; add further scans to the list in Scan > Load scans"
            )
        return {"FINISHED"}


class BOZZETTO_FH_scan(bpy.types.FileHandler):
    """A scan or a job dropped into the 3D view"""

    bl_idname = "BOZZETTO_FH_scan"
    bl_label = "Scan or job for Bozzetto"
    bl_import_operator = "bozzetto.drop_scan"
    bl_file_extensions = ";".join((*SCANS, ".toml"))

    @classmethod
    def poll_drop(cls, context: bpy.types.Context) -> bool:
        """Available only in a 3D view."""
        return context.area is not None and context.area.type == "VIEW_3D"


CLASSES = (
    BOZZETTO_OT_read_sheet, BOZZETTO_OT_write_sheet, BOZZETTO_OT_load_recent, BOZZETTO_MT_recent, BOZZETTO_OT_drop_scan,
    BOZZETTO_FH_scan,
)  # fmt: skip
