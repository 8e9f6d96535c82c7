"""Where do steps find what they need and put what they make? The stage of one job in one scene.

A step never changes existing data: it makes new data-blocks, offers them, and requests edits. When its generator has ended, the
runner calls `swap`, which applies all of it at once; after an error or Esc, `discard` removes the new data and the scene is as
it was before. What the user has changed or deleted is kept, with a note that says so.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any

import bpy

from ..job.decisions import Decision, as_kept
from ..job.errors import SubjectError
from ..job.farm import Farm
from ..job.notes import Notes
from ..job.runner import stamp
from ..job.settings import plain
from ..job.sheet import JobSheet
from ..job.step import Step
from . import roles
from .prints.fingerprint import of_this_release
from .running.job_card import CARD, STATE, read_state
from .running.job_identity import settle
from .running.kept_decisions import keep_pictures
from .running.scene_settings import (
    COMPOSITOR,
    SETTINGS,
    compositor_print,
    give,
    in_words,
    note_settings,
    users_compositor,
    users_settings,
)
from .swap import Offer, Request, Swap

GROUPS = {"scan": "Scan", "surface": "Piece", "shots": "Shots", "dressing": "Set", "delivery": "Delivery"}


class Stage:
    """The stage of the job that lives in `scene`.

    sheet: all settings. out: folder for files, None when nothing may be written. seed: for random choices.
    """

    def __init__(
        self, scene: bpy.types.Scene, sheet: JobSheet, *, out: Path | None = None, notes: Notes | None = None, seed: int = 1
    ):
        self._scene = scene.name, scene.session_uid
        self.sheet = sheet
        self.out = out
        self.notes = Notes() if notes is None else notes  # an empty collector is false
        self.seed = seed
        self.farm: Farm | None = None
        """Other processes or machines that render, where the command line named some."""
        self.first_look = False
        """Whether all of it is made once more in this run: what serves only the finished pictures can be left out."""
        self.job = str(scene.get(roles.JOB, "")) or settle(scene, sheet)[0]
        """The job's id. A copied scene has the id of the original's job until `settle` is called at the start of a run."""
        self.step: Step | None = None
        self._afresh = False
        self._before: set[int] = set()
        self._request = Request()
        self._unclear: list[str] = []
        """Names of blocks noted by another release of Blender: whether the user changed them can't be determined."""
        self._changing: dict[str, object] | None = None
        """The job's state while a swap is changing it, else None."""
        self._settings_before: dict[str, object] | None = None
        """The scene's settings that were the user's when the present swap began; None outside a swap."""

    @property
    def scene(self) -> bpy.types.Scene:
        """The scene, looked up at each access: an undo replaces it, and the user may rename it while a step works. Raises
        SubjectError where it was deleted."""
        name, uid = self._scene
        scene = bpy.data.scenes.get(name)
        if scene is None or scene.session_uid != uid:
            scene = next((other for other in bpy.data.scenes if other.session_uid == uid), scene)
        if scene is None:
            raise SubjectError(f'The scene "{name}" was deleted while the work went on: run the job again in another scene')
        self._scene = scene.name, uid
        return scene

    def is_new(self, block: bpy.types.ID) -> bool:
        """Whether a data-block was made since the step began."""
        return block.session_uid not in self._before

    @property
    def afresh(self) -> bool:
        """Whether the step replaces also what the user has changed ("Reset to automatic")."""
        return self._afresh

    # --- what steps use ------------------------------------------------------------------------------------------------

    def find(self, role: str, key: str | None = None) -> Any | None:
        """The data-block with a role (with that key, or the first by key), or None."""
        for block in self.players(role=role):
            if key is None or block[roles.KEY] == key:
                return block
        return None

    def find_all(self, role: str) -> dict[str, bpy.types.Object]:
        """All objects with a role, key to object, ordered by key."""
        return {block[roles.KEY]: block for block in self.players(role=role)}

    def players(self, *, role: str | None = None, step: str | None = None) -> list[Any]:
        """The data-blocks of the job with a role, or made by a step, ordered by step, role and key."""
        return roles.players(self.job, role=role, step=step, scene=self.scene)

    def subject(self) -> list[bpy.types.Object]:
        """What is photographed: the objects of the piece, then those of its stand."""
        return [item for role in ("piece", "stand") for item in self.find_all(role).values()]

    def require(self, role: str, key: str | None = None) -> Any:
        """As `find`; raises SubjectError when there is none."""
        block = self.find(role, key)
        if block is None:
            raise SubjectError(f"There is no {role}{f' {key}' if key else ''} yet: run the earlier steps first")
        return block

    def has(self, role: str) -> bool:
        """Whether any data-block has the role."""
        return self.find(role) is not None

    def offer(self, role: str, block: bpy.types.ID, *, key: str = "", name: str, group: str | None = None) -> None:
        """Offer a new data-block for a role; at the swap it replaces the old one and is named `name`.

        Objects go into the collection of the step's folder, or of the folder `group` ('scan', 'surface', 'shots',
        'dressing', 'delivery'). New objects that are not offered are temporary and are removed at the swap.
        """
        assert self.step is not None
        home = GROUPS[group or self.step.folder] if isinstance(block, bpy.types.Object) else None
        self._request.offers.append(Offer(role, key, name, block.session_uid, home))

    def edit(self, block: bpy.types.ID, change: Callable[[Any], None]) -> None:
        """Request that `change(block)` is called at the swap on a data-block that an earlier step made."""
        self._request.edits.append((block.session_uid, change))

    def at_swap(self, action: Callable[[], None]) -> None:
        """Request that `action()` is called at the swap, after offers and edits.

        It may change the scene's settings only through `set_up_scene` and `set_compositor`.
        """
        self._request.actions.append(action)

    def set_up_scene(self, paths: Sequence[str], action: Callable[[], None]) -> None:
        """At the swap: let `action` set the scene's settings `paths` ('view_settings.exposure'); keep those the user set."""
        state = self._state() if self._changing is None else self._changing
        noted = state.setdefault(SETTINGS, {})
        theirs = {} if self._afresh else users_settings(self.scene, noted, paths)
        if self._settings_before is not None:  # a swap has put old data aside, which is nobody's choice
            theirs = {path: value for path, value in theirs.items() if path in self._settings_before}
        world = self.scene.world
        action()
        note_settings(self.scene, noted, paths)
        if theirs:
            give(self.scene, theirs)
            words = ", ".join(in_words(path) for path in theirs)
            self.note(f'Kept the scene\'s {words} as you set it; "Reset to automatic" replaces that', level="kept")
        if world not in (None, self.scene.world) and not world.get(roles.JOB) and not roles.put_aside(world):
            world.use_fake_user = True
            self.note(f'The job\'s light takes the place of your world "{world.name}", which stays in the file')
        if self._changing is None:
            self._keep(state)

    def users_own(self, paths: Sequence[str]) -> bool:
        """Whether the user has changed any of the scene's settings `paths` since the job set them, and they are kept."""
        state = self._state() if self._changing is None else self._changing
        return not self._afresh and bool(users_settings(self.scene, state.get(SETTINGS, {}), paths))

    def set_compositor(self, action: Callable[[], bool]) -> bool:
        """At the swap: let `action` write the job's compositor unless the user has changed it.

        Returns what `action` returns, True where it was not called.
        """
        state = self._state() if self._changing is None else self._changing
        noted = state.setdefault(SETTINGS, {})
        if not self._afresh and users_compositor(self.scene, noted):
            self.note('Kept the compositor as you changed it; "Reset to automatic" replaces it', level="kept")
            return True
        done = action()
        noted[COMPOSITOR] = compositor_print(self.scene)
        if self._changing is None:
            self._keep(state)
        return done

    def note(self, words: str, *, level: str = "info") -> None:
        """Add a note for the user."""
        self.notes.add(self.step.name if self.step else "job", words, level=level)

    def warn(self, words: str) -> None:
        """Add a note on something that the user should check."""
        self.note(words, level="warning")

    def note_kept(self, block: bpy.types.ID, noted: str) -> None:
        """Add a note that a data-block stays because it differs from what was `noted` when it was made."""
        what = f'"{block.name}"' if isinstance(block, bpy.types.Object) else f'the {block.bl_rna.name.lower()} "{block.name}"'
        if of_this_release(noted):
            self.note(f'Kept {what} as you changed it; "Reset to automatic" replaces it', level="kept")
        else:
            self._unclear.append(f'"{block.name}"')

    # --- what the runner uses ------------------------------------------------------------------------------------------

    def settle(self) -> None:
        """Determine the job's id: begin a job in the scene, also where the scene is a copy of one with a job."""
        self.job, words = settle(self.scene, self.sheet)
        for line in words:
            self.warn(line)

    def begin(self, step: Step, *, afresh: bool) -> None:
        self.settle()
        self.step, self._afresh = step, afresh
        self._before = {block.session_uid for block in roles.blocks()}
        self._request = Request()
        self._unclear = []

    def swap(self) -> None:
        assert self.step is not None
        state = self._changing = self._state()
        if "made" not in state:  # a piece of 80 mm shown as "0.08 m" can't be read
            show_millimetres(self.scene)
        noted = state.get(SETTINGS, {})
        self._settings_before = users_settings(self.scene, noted, noted.keys() - {COMPOSITOR})
        swap = Swap(self, self._request, state)
        try:
            swap.make()
            swap.exchange.put(self.scene, STATE, _written(state))
            swap.exchange.finish()
            swap.note_again()
        except BaseException:
            if not swap.exchange.finished:
                swap.exchange.take_back()
            self._before |= swap.exchange.restored
            raise
        finally:
            if swap.exchange.finished:
                self._before = {block.session_uid for block in roles.blocks()}  # a discard must not take the new state away
            self._changing = self._settings_before = None
            self._request = Request()
        if self._unclear:
            self.note(
                f"Kept {', '.join(self._unclear)}: another release of Blender made them, and it is not known whether you "
                'changed them since; "Reset to automatic" replaces them',
                level="kept",
            )

    def discard(self) -> None:
        """Remove all data-blocks made since `begin`."""
        new = [block for block in roles.blocks() if block.session_uid not in self._before]
        if new:
            bpy.data.batch_remove(new)
        self._request = Request()

    def stamp(self, step: str) -> str:
        return self._state().get("stamps", {}).get(step, "")

    def set_stamp(self, step: str, stamp: str) -> None:
        state = self._state()
        state.setdefault("stamps", {})[step] = stamp
        self._keep(state)

    def confirm(self, steps: Sequence[Step], late: Collection[str]) -> None:
        """Store that what was made still holds with the settings of now, which only say what was chosen before.

        steps: all steps in their order. late: the names of those that were out of date before, which stay so.
        """
        for step in steps:
            if self.stamp(step.name) and step.name not in late:
                state = self._state()
                state.get("results", {}).get(step.name, {})["settings"] = plain(self.sheet[step.name])
                self._keep(state)
                self.set_stamp(step.name, stamp(step, self.sheet, steps, self))

    def keep_card(self, card: dict[str, object]) -> None:
        """Store the card that identifies the job (`job_card`)."""
        state = self._state()
        state[CARD] = card
        self._keep(state)

    def keep_result(self, step: str, words: str, figures: dict[str, object], decisions: Sequence[Decision] = ()) -> None:
        """Store a step's result, warnings and decisions, for the page and for the next session.

        words: the result in one sentence. figures: name to value.
        """
        state = self._state()
        warnings = [note.words for note in self.notes.warnings() if note.step == step]
        kept: dict[str, object] = {"words": words, "figures": figures, "warnings": warnings}
        if step in self.sheet.settings:
            kept["settings"] = plain(self.sheet[step])
        kept["notes"] = [note.words for note in self.notes if note.step == step and note.level in ("info", "kept")]
        kept["decisions"] = [as_kept(step, decision) for decision in decisions]
        state.setdefault("results", {})[step] = kept
        self._keep(state)
        keep_pictures(self.scene, step, decisions)

    def results(self) -> dict[str, dict[str, Any]]:
        """The result of each step's last run: step to {"words", "figures", "warnings", "notes", "settings", "decisions"}."""
        return self._state().get("results", {})

    def accepted(self) -> dict[str, str]:
        """Choices without a setting that the user has confirmed: the question's place to the words of the choice."""
        return self._state().get("accepted", {})

    def accept(self, place: str, words: str) -> None:
        """Store that the user has confirmed a choice."""
        state = self._state()
        state.setdefault("accepted", {})[place] = words
        self._keep(state)

    # --- inside --------------------------------------------------------------------------------------------------------

    def _state(self) -> dict[str, Any]:
        return read_state(self.scene)

    def _keep(self, state: dict[str, object]) -> None:
        self.scene[STATE] = _written(state)


def _written(state: dict[str, object]) -> str:
    return json.dumps(state, sort_keys=True, default=float)


def show_millimetres(scene: bpy.types.Scene) -> None:
    """Display the scene's lengths in millimetres, unless the user has chosen units; the lengths themselves stay in metres."""
    units = scene.unit_settings
    if units.system == "METRIC" and units.length_unit == "METERS" and units.scale_length == 1.0:
        units.length_unit = "MILLIMETERS"
