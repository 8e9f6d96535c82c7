"""The lens panel: small pictures of all shots, the active shot's lens and read-out, and questions about it."""

from collections.abc import Sequence

import bpy
from bpy.props import EnumProperty, FloatProperty, FloatVectorProperty, StringProperty
from mathutils import Vector

from ..job.errors import JobError, SubjectError
from ..scene import roles
from ..scene.delivery.copies.finished import shots_of
from ..scene.shots import lens_drivers, lens_questions
from ..scene.shots.cameras import MM
from ..scene.thumbnails import give_thumbnail, looks_of_all, shot_picture
from .fields import Tab, paragraph
from .overlays import SHOWN, read_out_of

DIALOG = 72
"""Letters per line in the questions' dialogs."""
ENDS = {"FROM": "bozzetto_hold_from", "TO": "bozzetto_hold_to"}
"""The window manager's properties that hold the two picked points while Blender is open, in metres."""


def shot_in_work(context: bpy.types.Context) -> bpy.types.Object | None:
    """The scene's camera if it belongs to a shot, else None."""
    camera = context.scene.camera
    return camera if camera is not None and lens_drivers.FOCAL in camera else None


def is_viewed(operator: type, context: bpy.types.Context) -> bool:
    """Whether a shot is viewed; if not, the operator's disabled button says what to do."""
    if shot_in_work(context) is not None:
        return True
    operator.poll_message_set("View a shot first: choose one in Shots > Lens")
    return False


class BOZZETTO_PT_lens(Tab, bpy.types.Panel):
    """The lens of the viewed shot: what it gives, and how to change it"""

    bl_label = "Lens"
    bl_idname = "BOZZETTO_PT_lens"
    bl_parent_id = "BOZZETTO_PT_shots"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only once there are shots."""
        return bool(shots_of(context.scene))

    def draw(self, context: bpy.types.Context) -> None:
        """Pictures, lens, read-out, questions."""
        layout, camera = self.layout, shot_in_work(context)
        draw_shots(layout, shots_of(context.scene), camera)
        layout.prop(context.window_manager, SHOWN)
        if camera is None:
            layout.label(text="Choose a shot to see its lens")
            return
        draw_lens(layout.column(align=True), camera)
        draw_read_out(layout.box(), camera)
        draw_questions(layout.column(align=True), context.window_manager)


def draw_shots(layout: bpy.types.UILayout, shots: Sequence[bpy.types.Object], active: bpy.types.Object | None) -> None:
    """A small picture of each shot, to view it."""
    grid = layout.grid_flow(columns=3, even_columns=True, row_major=True)
    for shot in shots:
        column = grid.column(align=True)
        if shot.preview is not None and shot.preview.is_image_custom:
            column.template_icon(icon_value=shot.preview.icon_id, scale=4.0)
        key = shot.get(roles.KEY, shot.name)
        column.operator("bozzetto.view_shot", text=key, depress=shot == active).shot = shot.name
    layout.operator("bozzetto.draw_shots", icon="FILE_REFRESH")


def draw_lens(layout: bpy.types.UILayout, camera: bpy.types.Object) -> None:
    """Draw the lens's settings."""
    for name, words in (
        (lens_drivers.FOCAL, "Focal length (mm)"), (lens_drivers.FNUMBER, "f-number"), (lens_drivers.FOCUS, "Focus at (mm)"),
    ):  # fmt: skip
        layout.prop(camera, f'["{name}"]', text=words)
    row = layout.row(align=True)
    for place, words in enumerate(("Sensor (mm)", "by")):
        row.prop(camera, f'["{lens_drivers.FORMAT}"]', index=place, text=words)


def draw_read_out(layout: bpy.types.UILayout, camera: bpy.types.Object) -> None:
    """Draw the lens's read-out."""
    column = layout.column(align=True)
    for name, value in read_out_of(camera).lines():
        if not name:
            column.label(text=value)
            continue
        row = column.split(factor=0.5)
        row.label(text=name)
        row.label(text=value)


def draw_questions(layout: bpy.types.UILayout, manager: bpy.types.WindowManager) -> None:
    """Draw a button for each question; above the first, its two picked points."""
    for end, words in (("FROM", "From"), ("TO", "To")):
        row = layout.row(align=True)
        if manager.is_property_set(ENDS[end]):
            row.prop(manager, ENDS[end], text=words)
        else:  # zeros would look like a picked point
            row.label(text=f"{words}: not picked yet")
        row.operator("bozzetto.pick_point", text="", icon="EYEDROPPER").field = ENDS[end]
        row.operator("bozzetto.lens_point", text="", icon="PIVOT_CURSOR").end = end
    layout.operator_context = "INVOKE_DEFAULT"
    layout.operator("bozzetto.lens_hold", text="f-number from here to there ...")
    layout.operator("bozzetto.lens_hold", text="f-number for what is seen ...").what = "WHOLE"
    layout.operator("bozzetto.lens_fill")
    layout.operator("bozzetto.lens_focal")


class BOZZETTO_OT_view_shot(bpy.types.Operator):
    """Make this the active shot and view it through its camera"""

    bl_idname = "bozzetto.view_shot"
    bl_label = "View this shot"
    bl_options = {"INTERNAL", "UNDO"}

    shot: StringProperty(description="The name of the shot's camera")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Set the scene's camera and picture size, and view through it."""
        scene, camera = context.scene, bpy.data.objects.get(self.shot)
        if camera is None:
            self.report({"INFO"}, f'There is no shot "{self.shot}" any more: run Camera')
            return {"CANCELLED"}
        scene.camera = camera
        lens_drivers.frame_as(scene, camera)
        space = context.space_data
        if space is not None and space.type == "VIEW_3D":
            space.region_3d.view_perspective = "CAMERA"
        return {"FINISHED"}


class BOZZETTO_OT_draw_shots(bpy.types.Operator):
    """Redraw the small pictures of all shots from their present cameras"""

    bl_idname = "bozzetto.draw_shots"
    bl_label = "Redraw the small pictures"
    bl_options = {"INTERNAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Draw each from sampled surface points, which takes a moment; nothing is rendered."""
        redraw(context.scene, shots_of(context.scene))
        return {"FINISHED"}


def redraw(scene: bpy.types.Scene, shots: Sequence[bpy.types.Object]) -> None:
    """Draw the small pictures of some shots."""
    job = scene.get(roles.JOB, "")
    looks = looks_of_all([item for role in ("piece", "stand") for item in roles.players(job, role=role)])()
    for shot in shots:
        give_thumbnail(shot.name, shot_picture(shot, looks)())


class BOZZETTO_OT_lens_point(bpy.types.Operator):
    """Take this end from the selected vertices, else from the 3D cursor (Shift + right click on the piece puts it there)"""

    bl_idname = "bozzetto.lens_point"
    bl_label = "Point for the lens"
    bl_options = {"INTERNAL"}

    end: EnumProperty(
        description="Which end of the depth that is to be sharp",
        items=[("FROM", "From", "The first end"), ("TO", "To", "The other end")],
    )

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Store the point."""
        setattr(context.window_manager, ENDS[self.end], picked_point(context))
        return {"FINISHED"}


def picked_point(context: bpy.types.Context) -> Vector:
    """The centre of the vertices selected in Edit Mode, in world space, or else the 3D cursor's position."""
    item = context.edit_object
    if item is not None and item.type == "MESH":
        item.update_from_editmode()
        chosen = [vertex.co for vertex in item.data.vertices if vertex.select]
        if chosen:
            return item.matrix_world @ (sum(chosen[1:], chosen[0].copy()) / len(chosen))
    return context.scene.cursor.location


class LensQuestion:
    """A dialog that shows the answer while its settings change, and sets the lens on OK; a script sets it at once."""

    bl_options = {"REGISTER", "UNDO"}

    instead: EnumProperty(
        name="Instead",
        description="What to do where no lens can",
        items=[
            ("NOTHING", "Leave it as it is", "Change nothing"),
            ("BRACKET", "Focus bracket", "Slices from end to end, merged into one sharp picture"),
            ("FRAMES", "Focus bracket, left as frames", "The slices stay beside the merged picture"),
            ("DEPARTURE", "Departure from the true lens", "Sharp subject, soft set; the caption says so"),
        ],
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There must be a shot to ask about."""
        return is_viewed(cls, context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Show question and answer."""
        return set(context.window_manager.invoke_props_dialog(self, width=460))

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings, the answer, and alternatives."""
        layout = self.layout
        layout.use_property_split = True
        self.draw_settings(layout)
        try:
            asked = self.ask(context)
        except JobError as error:
            paragraph(layout, str(error), context, room=DIALOG)
            return
        words = asked.answer.words if asked.answer.possible else f"That is not possible: {asked.answer.words}"
        paragraph(layout, words, context, room=DIALOG)
        if not asked.answer.possible and asked.ends:
            layout.prop(self, "instead")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Set the lens as answered, or as chosen instead, and report it."""
        camera = shot_in_work(context)
        assert camera is not None  # `poll` checks this
        try:
            asked = self.ask(context)
            if asked.answer.possible:
                lens_questions.set_lens(camera, asked)
            elif asked.ends and self.instead in ("BRACKET", "FRAMES"):
                lens_questions.set_bracket(camera, asked, frames=self.instead == "FRAMES")
            elif asked.ends and self.instead == "DEPARTURE":
                lens_questions.set_departure(camera)
            else:
                self.report({"WARNING"}, f"That is not possible: {asked.answer.words}")
                return {"CANCELLED"}
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        redraw(context.scene, [camera])
        self.report({"INFO"}, asked.answer.words)
        return {"FINISHED"}


class BOZZETTO_OT_lens_hold(LensQuestion, bpy.types.Operator):
    """Which f-number keeps this depth sharp? If no lens can, the reason and a focus bracket"""

    bl_idname = "bozzetto.lens_hold"
    bl_label = "What f-number holds this?"

    what: EnumProperty(
        name="Sharp",
        description="What is to be sharp",
        items=[
            ("POINTS", "From here to there", "Between the two picked points"),
            ("FACE", "The whole face", "What is seen of the face of a standing figure"),
            ("WHOLE", "All that is seen", "All that the shot sees of the piece"),
        ],
    )

    def draw_settings(self, layout: bpy.types.UILayout) -> None:
        """Draw what must be sharp."""
        layout.prop(self, "what", expand=False)

    def ask(self, context: bpy.types.Context) -> lens_questions.Asked:
        """The f-number and the focus."""
        camera = shot_in_work(context)
        if self.what != "POINTS":
            return lens_questions.hold_part(camera, self.what.lower())
        manager = context.window_manager
        ends = [getattr(manager, name) for name in ENDS.values()]
        if not all(manager.is_property_set(name) for name in ENDS.values()) or ends[0] == ends[1]:
            raise SubjectError("Pick two points first: where it must begin to be sharp, and where it may end")
        return lens_questions.hold_points(camera, [[MM * part for part in end] for end in ends])


class BOZZETTO_OT_lens_fill(LensQuestion, bpy.types.Operator):
    """From where does the subject fill this share of the picture's height?"""

    bl_idname = "bozzetto.lens_fill"
    bl_label = "Distance that fills the height ..."

    share: FloatProperty(
        name="Of the height",
        description="Share of the picture's height (%)",
        subtype="PERCENTAGE",
        min=5.0,
        max=98.0,
        default=80.0,
    )

    def draw_settings(self, layout: bpy.types.UILayout) -> None:
        """Draw the share of the height."""
        layout.prop(self, "share")

    def ask(self, context: bpy.types.Context) -> lens_questions.Asked:
        """The camera's new pose."""
        return lens_questions.fill_height(shot_in_work(context), self.share / 100.0)


class BOZZETTO_OT_lens_focal(LensQuestion, bpy.types.Operator):
    """Change the focal length and keep the subject's size in the picture"""

    bl_idname = "bozzetto.lens_focal"
    bl_label = "Another focal length, same size ..."

    focal: FloatProperty(
        name="Focal length (mm)", description="Focal length of the other lens, mm", min=2.0, max=1200.0, default=60.0
    )

    def draw_settings(self, layout: bpy.types.UILayout) -> None:
        """The focal length."""
        layout.prop(self, "focal")

    def ask(self, context: bpy.types.Context) -> lens_questions.Asked:
        """The camera's new pose for that focal length."""
        return lens_questions.other_focal(shot_in_work(context), self.focal)


CLASSES = (
    BOZZETTO_OT_view_shot, BOZZETTO_OT_draw_shots, BOZZETTO_OT_lens_point, BOZZETTO_OT_lens_hold, BOZZETTO_OT_lens_fill,
    BOZZETTO_OT_lens_focal,
)  # fmt: skip


def register() -> None:
    """Add properties for the two picked points."""
    for name, words, end in zip(ENDS.values(), ("Sharp from here", "Sharp to there"), ("near", "far"), strict=True):
        help_text = f"The {end} end of what must be sharp: x, y and z in the scene, for the question which f-number holds it"
        point = FloatVectorProperty(name=words, description=help_text, subtype="TRANSLATION", unit="LENGTH", precision=4)
        setattr(bpy.types.WindowManager, name, point)


def unregister() -> None:
    """Remove the properties."""
    for name in ENDS.values():
        if hasattr(bpy.types.WindowManager, name):
            delattr(bpy.types.WindowManager, name)
