"""Where do steps find what they need and put what they make? The stage of one job in one scene.

A step never changes what is there: it makes new data-blocks, offers them, and asks for edits to be made at the end. When its
generator has ended the runner calls `swap`, which does it all without a pause; on an error, Esc or a kill `discard` takes the
new data away and the scene is as it was. What the user changed or deleted since is kept, and said.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import bpy

from ..job.decisions import Decision, as_kept
from ..job.errors import SubjectError
from ..job.notes import Notes
from ..job.settings import plain
from ..job.sheet import JobSheet
from ..job.step import Step
from . import roles
from .fingerprint import fingerprint
from .kept_decisions import keep_pictures

STATE = "bozzetto_state"
ROOT = "Bozzetto"
GROUPS = {"scan": "Scan", "surface": "Piece", "shots": "Shots", "dressing": "Set", "delivery": "Delivery"}


class Stage:
    """The stage of the job that lives in `scene`.

    `sheet` has all settings; `out` is the folder for files, None when nothing may be written; `seed` feeds random choices.
    """

    def __init__(self, scene: Any, sheet: JobSheet, *, out: Path | None = None, notes: Notes | None = None, seed: int = 1):
        self.scene_name = scene.name
        self.sheet = sheet
        self.out = out
        self.notes = Notes() if notes is None else notes  # an empty collector is false
        self.seed = seed
        self.job = scene.get(roles.JOB) or scene.name
        if roles.JOB not in scene:
            scene[roles.JOB] = self.job
        self.step: Step | None = None
        self._afresh = False
        self._before: set[int] = set()
        self._offers: list[tuple[str, str, str, int, str | None]] = []
        self._edits: list[tuple[int, Callable[[Any], None]]] = []
        self._last: list[Callable[[], None]] = []

    @property
    def scene(self) -> Any:
        """The scene, looked up anew each time."""
        return bpy.data.scenes[self.scene_name]

    def is_new(self, block: Any) -> bool:
        """Whether a data-block was made since the step began."""
        return block.session_uid not in self._before

    @property
    def afresh(self) -> bool:
        """Whether everything is reset to automatic, also what the user has changed."""
        return self._afresh

    # --- what steps use ------------------------------------------------------------------------------------------------

    def find(self, role: str, key: str | None = None) -> Any | None:
        """The data-block that plays a role (with that key, or the first by key), or None."""
        for block in roles.players(self.job, role=role):
            if key is None or block[roles.KEY] == key:
                return block
        return None

    def find_all(self, role: str) -> dict[str, Any]:
        """All that play a role, key to data-block, ordered by key."""
        return {block[roles.KEY]: block for block in roles.players(self.job, role=role)}

    def require(self, role: str, key: str | None = None) -> Any:
        """As `find`; raises SubjectError when there is none."""
        block = self.find(role, key)
        if block is None:
            raise SubjectError(f"There is no {role}{f' {key}' if key else ''} yet: run the earlier steps first")
        return block

    def has(self, role: str) -> bool:
        """Whether anything plays the role."""
        return self.find(role) is not None

    def offer(self, role: str, block: Any, *, key: str = "", name: str, group: str | None = None) -> None:
        """Hand over a new data-block for a role; it takes the place of the old one at the swap, named `name`.

        Objects go into the collection of the step's folder, or of the folder `group` ('scan', 'surface', 'shots',
        'dressing', 'delivery'). New objects that are not offered count as scaffolding and are removed at the swap.
        """
        assert self.step is not None
        home = GROUPS[group or self.step.folder] if isinstance(block, bpy.types.Object) else None
        self._offers.append((role, key, name, block.session_uid, home))

    def edit(self, block: Any, change: Callable[[Any], None]) -> None:
        """Have `change(block)` called at the swap on a data-block that an earlier step made."""
        self._edits.append((block.session_uid, change))

    def at_swap(self, action: Callable[[], None]) -> None:
        """Have `action()` called at the swap, after offers and edits."""
        self._last.append(action)

    def note(self, words: str, *, level: str = "info") -> None:
        """Tell the user something besides the result."""
        self.notes.add(self.step.name if self.step else "job", words, level=level)

    def warn(self, words: str) -> None:
        """Tell the user something that asks for a look."""
        self.note(words, level="warning")

    # --- what the runner uses ------------------------------------------------------------------------------------------

    def begin(self, step: Step, *, afresh: bool) -> None:
        self.step, self._afresh = step, afresh
        self._before = {block.session_uid for block in roles.blocks()}
        self._offers, self._edits, self._last = [], [], []

    def swap(self) -> None:
        assert self.step is not None
        state = self._state()
        if "made" not in state:  # a piece of 80 mm shown as "0.08 m" can't be read
            show_millimetres(self.scene)
        made_before = {tuple(place) for place in state.setdefault("made", {}).get(self.step.name, [])}
        existing = {(b[roles.ROLE], b[roles.KEY]): b for b in roles.players(self.job, step=self.step.name)}
        by_uid = {block.session_uid: block for block in roles.blocks()}
        placed: list[Any] = []
        for role, key, name, uid, home in self._offers:
            block = by_uid[uid]
            old = existing.pop((role, key), None)
            if self._is_users(old, (role, key) in made_before, role):
                self._remove(block)
                continue
            self._place(block, old, role, key, name, home)
            placed.append(block)
        for old in existing.values():
            if self._edited(old) and not self._afresh:
                roles.unmark(old)
                self.note(f'"{old.name}" is no longer made but you changed it, so it stays and is now yours')
            else:
                self._remove(old)
        self._hide_superseded()
        self._apply_edits()
        for action in self._last:
            action()
        self._sweep({block.session_uid for block in placed})
        for block in placed:
            block[roles.PRINT] = fingerprint(block)
        made = {(role, key) for role, key, *_ in self._offers}
        state["made"][self.step.name] = sorted(made)
        self._keep(state)
        self._offers, self._edits, self._last = [], [], []

    def discard(self) -> None:
        """Take away all data-blocks made since `begin`."""
        new = [block for block in roles.blocks() if block.session_uid not in self._before]
        if new:
            bpy.data.batch_remove(new)
        self._offers, self._edits, self._last = [], [], []

    def stamp(self, step: str) -> str:
        return self._state().get("stamps", {}).get(step, "")

    def set_stamp(self, step: str, stamp: str) -> None:
        state = self._state()
        state.setdefault("stamps", {})[step] = stamp
        self._keep(state)

    def keep_result(self, step: str, words: str, figures: dict[str, Any], decisions: Sequence[Decision] = ()) -> None:
        """Remember what a step said, warned of and decided, for the page and for the next session."""
        state = self._state()
        warnings = [note.words for note in self.notes.warnings() if note.step == step]
        said: dict[str, Any] = {"words": words, "figures": figures, "warnings": warnings}
        if step in self.sheet.settings:
            said["settings"] = plain(self.sheet[step])
        said["notes"] = [note.words for note in self.notes if note.step == step and note.level == "info"]
        said["decisions"] = [as_kept(step, decision) for decision in decisions]
        state.setdefault("results", {})[step] = said
        self._keep(state)
        keep_pictures(self.scene, step, decisions)

    def results(self) -> dict[str, dict[str, Any]]:
        """What each step said when it last ran: step to {"words", "figures", "warnings", "notes", "settings", "decisions"}."""
        return self._state().get("results", {})

    def accepted(self) -> dict[str, str]:
        """Choices without a setting of their own that the user said are right: place of the question to the words."""
        return self._state().get("accepted", {})

    def accept(self, place: str, words: str) -> None:
        """Remember that the user said a choice is right."""
        state = self._state()
        state.setdefault("accepted", {})[place] = words
        self._keep(state)

    # --- inside --------------------------------------------------------------------------------------------------------

    def _state(self) -> dict[str, Any]:
        return json.loads(self.scene.get(STATE, "{}"))

    def _keep(self, state: dict[str, Any]) -> None:
        self.scene[STATE] = json.dumps(state, sort_keys=True, default=float)

    def _edited(self, block: Any) -> bool:
        return bool(block.get(roles.PRINT)) and block[roles.PRINT] != fingerprint(block)

    def _is_users(self, old: Any, made_before: bool, role: str) -> bool:
        """Whether the user's own state of this place is to be kept: changed, or deleted though nothing later needs it."""
        if self._afresh:
            return False
        if old is not None:
            if self._edited(old):
                self.note(f'Kept "{old.name}" as you changed it; "Reset to automatic" replaces it')
                return True
            return False
        if made_before and role not in ESSENTIAL:
            self.note(f'You deleted a {role.replace("_", " ")}, so it stays away; "Reset to automatic" brings it back')
            return True
        return False

    def _place(self, block: Any, old: Any, role: str, key: str, name: str, home: str | None) -> None:
        if old is not None:
            old.user_remap(block)
            self._remove(old)
        block.name = name
        if isinstance(block, bpy.types.Object) and block.data is not None and block.data.users == 1:
            block.data.name = name
        assert self.step is not None
        roles.mark(block, job=self.job, step=self.step.name, role=role, key=key)
        if home is not None:
            self._house(block, home, keep_place=old is not None)
        else:
            block.use_fake_user = True  # what plays a role must survive a save even while nothing shows it

    def _house(self, block: Any, home: str, *, keep_place: bool) -> None:
        """Link an object where it belongs; one that took an old one's place stays where the user keeps that."""
        target = self.collection(home)
        if keep_place and block.users_collection:
            return
        for collection in list(block.users_collection):
            if collection != target:
                collection.objects.unlink(block)
        if block.name not in target.objects:
            target.objects.link(block)

    def collection(self, name: str) -> Any:
        """The job's collection of that name under its root, made when missing."""
        root = next((c for c in self.scene.collection.children if c.get(roles.JOB) == self.job), None)
        if root is None:
            root = bpy.data.collections.new(ROOT)
            root[roles.JOB] = self.job
            root[roles.ROLE] = root[roles.STEP] = root[roles.KEY] = "collection"
            self.scene.collection.children.link(root)
        child = next((c for c in root.children if c.get("bozzetto_group") == name), None)
        if child is None:
            child = bpy.data.collections.new(name)
            child["bozzetto_group"] = name
            root.children.link(child)
        return child

    def _hide_superseded(self) -> None:
        """Of scan, clean, upright and piece only the furthest stands in the picture; the others stay, hidden."""
        stages = [[item for role in group for item in self.find_all(role).values()] for group in SUBJECT]
        last = max((place for place, items in enumerate(stages) if items), default=0)
        for place, items in enumerate(stages):
            for item in items:
                hidden = place < last
                if (item.hide_render, item.hide_viewport) != (hidden, hidden):
                    self._edits.append((item.session_uid, _hide if hidden else _show))

    def _apply_edits(self) -> None:
        by_uid = {block.session_uid: block for block in roles.blocks()}
        edited: dict[int, bool] = {}
        for uid, _ in self._edits:
            if uid in by_uid and uid not in edited:
                edited[uid] = self._edited(by_uid[uid])
        for uid, change in self._edits:
            if uid in by_uid:
                change(by_uid[uid])
        for uid, was_edited in edited.items():
            block = by_uid[uid]
            if block.get(roles.PRINT) and not was_edited:
                block[roles.PRINT] = fingerprint(block)

    def _sweep(self, kept: set[int]) -> None:
        """Remove scaffolding: new objects that were not offered, and new data that nothing uses."""
        new = [block for block in roles.blocks() if block.session_uid not in self._before]
        loose = [b for b in new if isinstance(b, bpy.types.Object) and b.session_uid not in kept]
        if loose:
            bpy.data.batch_remove(loose)
        while True:
            loose = [
                b for b in roles.blocks()
                if b.session_uid not in self._before and b.session_uid not in kept and b.users == 0
                and not b.use_fake_user and not isinstance(b, (bpy.types.Collection, bpy.types.Text))
            ]  # fmt: skip
            if not loose:
                return
            bpy.data.batch_remove(loose)

    def _remove(self, block: Any) -> None:
        data = block.data if isinstance(block, bpy.types.Object) else None
        worn = [one for one in getattr(data, "materials", ()) if one is not None and one.get(roles.MADE)]
        roles.holder(block).remove(block)
        if data is not None and data.users == 0:
            roles.holder(data).remove(data)
        for material in {one.session_uid: one for one in worn}.values():
            if material.users == 0 and not material.use_fake_user:
                shown = [
                    node.image for node in material.node_tree.nodes if node.bl_idname == "ShaderNodeTexImage" and node.image
                ]
                bpy.data.materials.remove(material)
                for image in {one.session_uid: one for one in shown}.values():
                    if image.users == 0 and not image.use_fake_user:
                        bpy.data.images.remove(image)


def show_millimetres(scene: Any) -> None:
    """Have the scene show its lengths in millimetres; they stay metres."""
    scene.unit_settings.system, scene.unit_settings.length_unit = "METRIC", "MILLIMETERS"


def _hide(item: Any) -> None:
    item.hide_render = item.hide_viewport = True


def _show(item: Any) -> None:
    item.hide_render = item.hide_viewport = False


SUBJECT = (("scan",), ("clean",), ("upright", "aligned"), ("piece", "stand"))
"""The roles that show the subject, from the raw to the finished."""

ESSENTIAL = frozenset({"scan", "clean", "upright", "aligned", "piece", "stand", "shot"})
"""Roles that later steps can't do without: made again even when the user deleted them."""
