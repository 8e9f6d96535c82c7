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
from ..job.farm import Farm
from ..job.notes import Notes
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

    `sheet` has all settings; `out` is the folder for files, None when nothing may be written; `seed` feeds random choices.
    """

    def __init__(
        self, scene: bpy.types.Scene, sheet: JobSheet, *, out: Path | None = None, notes: Notes | None = None, seed: int = 1
    ):
        self.scene_name = scene.name
        self.sheet = sheet
        self.out = out
        self.notes = Notes() if notes is None else notes  # an empty collector is false
        self.seed = seed
        self.farm: Farm | None = None
        """Other machines that render, where the command line has some."""
        self.job = str(scene.get(roles.JOB, "")) or settle(scene, sheet)[0]
        """The job's id. A scene that was copied has the first one's until `settle` is called, as a run does."""
        self.step: Step | None = None
        self._afresh = False
        self._before: set[int] = set()
        self._request = Request()
        self._unclear: list[str] = []
        """Names of what another release of Blender made, of which it can't be told whether it was changed since."""
        self._changing: dict[str, Any] | None = None
        """The job's state while a swap changes it."""

    @property
    def scene(self) -> bpy.types.Scene:
        """The scene, looked up anew each time."""
        return bpy.data.scenes[self.scene_name]

    def is_new(self, block: bpy.types.ID) -> bool:
        """Whether a data-block was made since the step began."""
        return block.session_uid not in self._before

    @property
    def afresh(self) -> bool:
        """Whether everything is reset to automatic, also what the user has changed."""
        return self._afresh

    # --- what steps use ------------------------------------------------------------------------------------------------

    def find(self, role: str, key: str | None = None) -> Any | None:
        """The data-block that plays a role (with that key, or the first by key), or None."""
        for block in self.players(role=role):
            if key is None or block[roles.KEY] == key:
                return block
        return None

    def find_all(self, role: str) -> dict[str, Any]:
        """All that play a role, key to data-block, ordered by key."""
        return {block[roles.KEY]: block for block in self.players(role=role)}

    def players(self, *, role: str | None = None, step: str | None = None) -> list[Any]:
        """The data-blocks of the job that play a role, or that a step made, ordered by key."""
        return roles.players(self.job, role=role, step=step, scene=self.scene)

    def require(self, role: str, key: str | None = None) -> Any:
        """As `find`; raises SubjectError when there is none."""
        block = self.find(role, key)
        if block is None:
            raise SubjectError(f"There is no {role}{f' {key}' if key else ''} yet: run the earlier steps first")
        return block

    def has(self, role: str) -> bool:
        """Whether anything plays the role."""
        return self.find(role) is not None

    def offer(self, role: str, block: bpy.types.ID, *, key: str = "", name: str, group: str | None = None) -> None:
        """Hand over a new data-block for a role; it takes the place of the old one at the swap, named `name`.

        Objects go into the collection of the step's folder, or of the folder `group` ('scan', 'surface', 'shots',
        'dressing', 'delivery'). New objects that are not offered count as scaffolding and are removed at the swap.
        """
        assert self.step is not None
        home = GROUPS[group or self.step.folder] if isinstance(block, bpy.types.Object) else None
        self._request.offers.append(Offer(role, key, name, block.session_uid, home))

    def edit(self, block: bpy.types.ID, change: Callable[[Any], None]) -> None:
        """Have `change(block)` called at the swap on a data-block that an earlier step made."""
        self._request.edits.append((block.session_uid, change))

    def at_swap(self, action: Callable[[], None]) -> None:
        """Have `action()` called at the swap, after offers and edits. Of the scene's settings it may change what
        `set_up_scene` and `set_compositor` let it."""
        self._request.actions.append(action)

    def set_up_scene(self, paths: Sequence[str], action: Callable[[], None]) -> None:
        """At the swap: let `action` set these settings of the scene ('view_settings.exposure'); what the user set stays."""
        state = self._state() if self._changing is None else self._changing
        noted = state.setdefault(SETTINGS, {})
        theirs = {} if self._afresh else users_settings(self.scene, noted, paths)
        world = self.scene.world
        action()
        note_settings(self.scene, noted, paths)
        if theirs:
            give(self.scene, theirs)
            words = ", ".join(in_words(path) for path in theirs)
            self.note(f'Kept the scene\'s {words} as you set it; "Reset to automatic" replaces that', level="kept")
        if world is not None and world != self.scene.world and not world.get(roles.JOB):
            world.use_fake_user = True
            self.note(f'The job\'s light takes the place of your world "{world.name}", which stays in the file')
        if self._changing is None:
            self._keep(state)

    def set_compositor(self, action: Callable[[], bool]) -> bool:
        """At the swap: let `action` write our compositor, where the user has not changed it; what it returns, else True."""
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
        """Tell the user something besides the result."""
        self.notes.add(self.step.name if self.step else "job", words, level=level)

    def warn(self, words: str) -> None:
        """Tell the user something that should be checked."""
        self.note(words, level="warning")

    def note_kept(self, block: bpy.types.ID, noted: str) -> None:
        """Tell the user that something stays because it is not as it was `noted` when it was made."""
        what = f'"{block.name}"' if isinstance(block, bpy.types.Object) else f'the {block.bl_rna.name.lower()} "{block.name}"'
        if of_this_release(noted):
            self.note(f'Kept {what} as you changed it; "Reset to automatic" replaces it', level="kept")
        else:
            self._unclear.append(f'"{block.name}"')

    # --- what the runner uses ------------------------------------------------------------------------------------------

    def settle(self) -> None:
        """Begin the job in the scene, or find out that the scene is a copy in which a job of its own begins."""
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
        swap = Swap(self, self._request, state)
        try:
            swap.make()
            swap.exchange.put(self.scene, STATE, _written(state))
            swap.exchange.finish()
        except BaseException:
            if not swap.exchange.finished:
                swap.exchange.take_back()
            self._before |= swap.exchange.restored
            raise
        finally:
            if swap.exchange.finished:
                self._before = {block.session_uid for block in roles.blocks()}  # a discard must not take the new state away
            self._changing = None
            self._request = Request()
        if self._unclear:
            self.note(
                f"Kept {', '.join(self._unclear)}: another release of Blender made them, and it is not known whether you "
                'changed them since; "Reset to automatic" replaces them',
                level="kept",
            )

    def discard(self) -> None:
        """Take away all data-blocks made since `begin`."""
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

    def keep_card(self, card: dict[str, Any]) -> None:
        """Remember whose job this is."""
        state = self._state()
        state[CARD] = card
        self._keep(state)

    def keep_result(self, step: str, words: str, figures: dict[str, Any], decisions: Sequence[Decision] = ()) -> None:
        """Remember what a step said, warned of and decided, for the page and for the next session."""
        state = self._state()
        warnings = [note.words for note in self.notes.warnings() if note.step == step]
        said: dict[str, Any] = {"words": words, "figures": figures, "warnings": warnings}
        if step in self.sheet.settings:
            said["settings"] = plain(self.sheet[step])
        said["notes"] = [note.words for note in self.notes if note.step == step and note.level in ("info", "kept")]
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
        return read_state(self.scene)

    def _keep(self, state: dict[str, Any]) -> None:
        self.scene[STATE] = _written(state)


def _written(state: dict[str, Any]) -> str:
    return json.dumps(state, sort_keys=True, default=float)


def show_millimetres(scene: bpy.types.Scene) -> None:
    """Have the scene show its lengths in millimetres, where the user has chosen no units; they stay metres."""
    units = scene.unit_settings
    if units.system == "METRIC" and units.length_unit == "METERS" and units.scale_length == 1.0:
        units.length_unit = "MILLIMETERS"
