"""Replaces a step's old data with its new data when it has ended, and keeps the user's changes.

For each place (role and key) the user's state is kept where they edited the old data, or deleted it and no later step needs it.
A name or visibility that the user gave is carried over to the replacement. All changes go through an `Exchange`, which undoes
them when an error occurs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import bpy

from ..core.records import record
from . import roles
from .prints.fingerprint import noted, unchanged
from .running.exchange import Exchange
from .running.visibility import MARKS, note_shown, seen_in, set_marks, users_marks

if TYPE_CHECKING:
    from .stage import Stage

ROOT = "Bozzetto"
GROUP = "bozzetto_group"
"""On a collection of the job: which of the five it is."""

SUBJECT = (("scan",), ("clean",), ("upright", "aligned"), ("piece", "stand"))
"""The roles that show the subject, from the raw scan to the finished piece."""

ESSENTIAL = frozenset({"scan", "clean", "upright", "aligned", "piece", "stand"})
"""Roles that later steps require: made again even when the user deleted them."""

LAST_OF_ITS_KIND = frozenset({"shot"})
"""Roles of which at least one must exist: one that the user deleted stays deleted while there are others."""


@record
class Offer:
    """A new data-block for a role: its session id, its name, the collection for an object (None for other data)."""

    role: str
    key: str
    name: str
    uid: int
    home: str | None


@dataclass
class Request:
    """What a step requests for the swap."""

    offers: list[Offer] = field(default_factory=list)
    edits: list[tuple[int, Callable[[Any], None]]] = field(default_factory=list)
    actions: list[Callable[[], None]] = field(default_factory=list)


class Swap:
    """One swap of one step on a stage."""

    def __init__(self, stage: Stage, request: Request, state: dict[str, object]):
        self.stage = stage
        self.scene = stage.scene
        self.request = request
        self.state = state
        """The job's state; changed here, and stored by the stage in the same exchange."""
        self.exchange = Exchange(self.scene)
        self.placed: list[tuple[bpy.types.ID, str, str]] = []
        self._leaning: list[tuple[int, str]] = []
        """Data that refers to what goes and that the user has not changed: its session id, and the mark with its record."""
        self._made_before = {tuple(place) for place in state.setdefault("made", {}).get(stage.step.name, [])}

    def make(self) -> None:
        """Apply everything but the final removal of old data; `exchange` can still undo it."""
        self._place_offers()
        self._hide_superseded()
        edited = self._apply_edits()
        if self.request.actions:
            self.exchange.keep_scene()
        for action in self.request.actions:
            action()
        self._use_again()
        self._sweep()
        self.exchange.clear_names(afresh=self.stage.afresh)
        for block in self.exchange.kept:
            what = f'The {block.bl_rna.name.lower()} "{block.name}", which you made or changed,'
            self.stage.note(f"{what} is used by nothing any more and stays in the file", level="kept")
        self._give_names()
        self._note_prints(edited)
        self.state["made"][self.stage.step.name] = sorted({(offer.role, offer.key) for offer in self.request.offers})

    def note_again(self) -> None:
        """When old data has been removed, record anew what referred to it: the empty place is not an edit of the user's."""
        by_uid = {block.session_uid: block for block in roles.blocks()} if self._leaning else {}
        for uid, mark in self._leaning:
            if uid in by_uid:
                by_uid[uid][mark] = noted(by_uid[uid])

    # --- replacing old data ----------------------------------------------------------------------------------------------

    def _place_offers(self) -> None:
        existing = {(b[roles.ROLE], b[roles.KEY]): b for b in self.stage.players(step=self.stage.step.name)}
        by_uid = {block.session_uid: block for block in roles.blocks()}
        for offer in self.request.offers:
            old = existing.pop((offer.role, offer.key), None)
            if not self._is_users(old, offer):  # offers that are not placed are removed with the temporary objects
                self._place(by_uid[offer.uid], old, offer)
            elif old is not None:
                _refer_to(old, instead_of=by_uid[offer.uid])
        gone = [
            old
            for place, old in existing.items()
            if old.get(roles.JOB) == self.stage.job and (place in self._made_before or not self._made_before)
        ]
        theirs = [self._is_changed(old) for old in gone]  # of all before any is put aside, since they refer to each other
        self._leaning = _leaning_on([old for old, is_theirs in zip(gone, theirs, strict=True) if not is_theirs])
        for old, is_theirs in zip(gone, theirs, strict=True):
            self._take_away(old, is_theirs)

    def _take_away(self, old: bpy.types.ID, is_theirs: bool) -> None:
        """Put aside a block that the step no longer makes; one that the user changed becomes theirs."""
        if not is_theirs:
            self.exchange.put_aside(old)
            return
        self.stage.note(f'"{old.name}" is no longer made but you changed it, so it stays and is now yours', level="kept")
        self.exchange.drop(old, (roles.JOB, roles.STEP, roles.ROLE, roles.KEY, roles.NAME, roles.PRINT, roles.SHOWN))

    def _is_changed(self, old: bpy.types.ID) -> bool:
        """Whether the user changed a block that the step no longer makes, in any way."""
        return not self.stage.afresh and bool(edited(old) or self._wears_edited(old) or self._touched(old))

    def _wears_edited(self, old: bpy.types.ID) -> bool:
        """Whether the user changed a material of the set that the object uses."""
        worn = [slot.material for slot in getattr(old, "material_slots", ()) if slot.material is not None]
        return any(
            block.get(roles.OFFERED) and roles.MADE in block and not unchanged(block, block[roles.MADE]) for block in worn
        )

    def _touched(self, old: bpy.types.ID) -> bool:
        """Whether the user renamed or hid a block."""
        if not isinstance(old, bpy.types.Object):
            return roles.renamed(old)
        hidden = any(eye for _, eye, _, _ in seen_in(old, self.scene))
        return bool(roles.renamed(old) or users_marks(old) or hidden)

    def _is_users(self, old: bpy.types.ID, offer: Offer) -> bool:
        """Whether to keep the user's state of this place: edited, or deleted where no later step needs it."""
        if self.stage.afresh:
            return False
        if old is not None:
            if edited(old):
                self.stage.note_kept(old, str(old[roles.PRINT]))
                return True
            return False
        if (offer.role, offer.key) not in self._made_before or offer.role in ESSENTIAL:
            return False
        if offer.role in LAST_OF_ITS_KIND and not self.stage.has(offer.role):
            return False
        what = f"{offer.role.replace('_', ' ')} {offer.key}".strip()
        self.stage.note(f'You deleted the {what}, so it stays away; "Reset to automatic" brings it back', level="kept")
        return True

    def _place(self, block: bpy.types.ID, old: bpy.types.ID, offer: Offer) -> None:
        theirs: dict[str, bool] = {}
        name = offer.name
        is_object = isinstance(block, bpy.types.Object)
        if is_object:
            note_shown(block)
        if old is not None and old.get(roles.JOB) == self.stage.job:
            if not self.stage.afresh:
                theirs = users_marks(old) if is_object else {}
                name = old.name if roles.renamed(old) else name
                if theirs or name != offer.name:
                    words = f'"{old.name}" is made again; the name and the visibility that you gave it stay'
                    self.stage.note(words, level="kept")
            self.exchange.take_place(old, block)
        if offer.home is not None:
            self._house(block, offer.home, keep_place=old is not None)
        else:
            block.use_fake_user = True  # data with a role must survive a save even while nothing uses it
        for mark, value in theirs.items():
            setattr(block, mark, value)
        roles.mark(block, job=self.stage.job, step=self.stage.step.name, role=offer.role, key=offer.key)
        self.placed.append((block, name, offer.name))

    def _house(self, block: bpy.types.ID, home: str, *, keep_place: bool) -> None:
        """Link an object to its collection. A replacement stays in the collections of the object that it replaced."""
        if keep_place and block.users_collection:
            return
        target = self._collection(home)
        for collection in list(block.users_collection):
            if collection != target:
                collection.objects.unlink(block)
        if block.name not in target.objects:
            target.objects.link(block)

    def _collection(self, name: str) -> bpy.types.Collection:
        """The job's collection of that name, wherever the user has moved it; made under the job's root when missing."""
        ours = [block for block in self.scene.collection.children_recursive if block.get(roles.JOB) == self.stage.job]
        root = next((our for our in ours if our.get(roles.ROLE) == "collection"), None)
        if root is None:
            root = self.exchange.make_collection(ROOT, self.scene.collection)
            root[roles.JOB] = self.stage.job
            root[roles.ROLE] = root[roles.STEP] = root[roles.KEY] = "collection"
        child = next((block for block in (*ours, *root.children_recursive) if block.get(GROUP) == name), None)
        if child is None:
            child = self.exchange.make_collection(name, root)
            child[GROUP], child[roles.JOB] = name, self.stage.job
        return child

    # --- changing earlier steps' data ------------------------------------------------------------------------------------

    def _hide_superseded(self) -> None:
        """Show only the latest stage of the subject (scan, clean, upright or aligned, piece); hide the earlier ones."""
        stages = [[item for role in group for item in self.stage.find_all(role).values()] for group in SUBJECT]
        last = max((place for place, items in enumerate(stages) if items), default=0)
        for place, items in enumerate(stages):
            for item in items:
                self._set_marks(item, hidden=place < last)

    def _set_marks(self, item: bpy.types.Object, *, hidden: bool) -> None:
        if (item.hide_render, item.hide_viewport) == (hidden, hidden):
            return
        was_edited = edited(item)
        self.exchange.remember(item, MARKS, (roles.SHOWN, roles.PRINT))
        set_marks(item, hide_render=hidden, hide_viewport=hidden)
        if item.get(roles.PRINT) and not was_edited:  # in files of 0.1.0 visibility was part of the digest
            item[roles.PRINT] = noted(item)

    def _apply_edits(self) -> list[bpy.types.ID]:
        """Apply the requested edits; returns the blocks whose digest must be updated, since the change is not the user's."""
        by_uid = {block.session_uid: block for block in roles.blocks()}
        asked = {uid: by_uid[uid] for uid, _ in self.request.edits if uid in by_uid}
        ours = [block for block in asked.values() if block.get(roles.PRINT) and not edited(block)]
        for block in asked.values():
            if not self.stage.is_new(block):
                self.exchange.keep_safe(block)
        for uid, change in self.request.edits:
            if uid in asked:
                change(asked[uid])
        return ours

    # --- tidying ---------------------------------------------------------------------------------------------------------

    def _new(self) -> list[bpy.types.ID]:
        """The blocks made since the step began, without those put aside."""
        aside = self.exchange.aside()
        return [block for block in roles.blocks() if self.stage.is_new(block) and block.session_uid not in aside]

    def _use_again(self) -> None:
        """Where a step made data again that exists unchanged (a scan's material that later objects use too), use the old data.

        Otherwise both would stay in the file, under names that change from run to run.
        """
        placed = {block.session_uid for block, *_ in self.placed}
        for kind in (bpy.types.Image, bpy.types.NodeTree, bpy.types.Material):  # contained kinds first
            new = [block for block in self._new() if isinstance(block, kind) and block.session_uid not in placed]
            known: dict[tuple[str, str], list[bpy.types.ID]] = {}
            old = [block for block in roles.blocks() if isinstance(block, kind) and not self.stage.is_new(block)] if new else []
            for block in sorted(old, key=lambda block: block.name, reverse=True):
                if block.get(roles.MADE) and not block.get(roles.ROLE):
                    known.setdefault((roles.stem(block.name), block[roles.MADE]), []).append(block)
            for block in sorted(new, key=lambda block: block.session_uid) if known else ():
                same = known.get((roles.stem(block.name), noted(block)))
                if same and unchanged(same[-1], same[-1][roles.MADE]):
                    block.user_remap(same.pop())

    def _sweep(self) -> None:
        """Remove temporary data: new objects that were not placed, and new data that nothing uses."""
        kept = {block.session_uid for block, *_ in self.placed}
        loose = [block for block in self._new() if isinstance(block, bpy.types.Object) and block.session_uid not in kept]
        if loose:
            bpy.data.batch_remove(loose)
        while unused := [
            block for block in self._new()
            if block.users == 0 and block.session_uid not in kept and not isinstance(block, _FREE)
        ]:  # fmt: skip
            bpy.data.batch_remove(unused)

    def _give_names(self) -> None:
        """Give placed blocks their names, and strip the numbers that Blender added to the other new data's names."""
        for block, name, given in self.placed:
            block.name = name
            block[roles.NAME] = block.name if name == given else given
            if isinstance(block, bpy.types.Object) and block.data is not None and block.data.users == 1:
                block.data.name = given
        kept = {block.session_uid for block, *_ in self.placed}
        rest = [block for block in self._new() if block.session_uid not in kept and not isinstance(block, bpy.types.Collection)]
        for block in sorted(rest, key=lambda block: block.session_uid):
            if roles.stem(block.name) != block.name:
                block.name = roles.stem(block.name)

    def _note_prints(self, changed: list[bpy.types.ID]) -> None:
        """Store a fingerprint of each block, by which a later run detects whether the user changed it."""
        kept = {block.session_uid for block, *_ in self.placed}
        for block in self._new():
            if block.session_uid not in kept and isinstance(block, _ALONG):
                block[roles.MADE] = noted(block)
        for block, *_ in self.placed:
            block[roles.PRINT] = noted(block)
        for block in changed:
            self.exchange.put(block, roles.PRINT, noted(block))


_ALONG = (
    bpy.types.Material, bpy.types.Image, bpy.types.NodeTree, bpy.types.World, bpy.types.Action, bpy.types.Texture,
)  # fmt: skip
"""Kinds of data that are replaced together with their user and that a person may edit on their own."""


_FREE = (bpy.types.Collection, bpy.types.Text)
"""Kinds of data that are kept also where nothing uses them."""


def _leaning_on(going: list[bpy.types.ID]) -> list[tuple[int, str]]:
    """The data that refers to blocks that go, directly or by way of other data, and still matches its record.

    Of each its session id and the name of the custom property with the record.
    """
    if not going:
        return []
    users = bpy.data.user_map()
    found = {block.session_uid: block for block in going}
    waiting = list(going)
    while waiting:
        for user in users.get(waiting.pop(), ()):
            if user.session_uid not in found and not isinstance(user, (bpy.types.Scene, bpy.types.Collection)):
                found[user.session_uid] = user
                waiting.append(user)
    left = list(found.values())[len(going) :]
    return [
        (block.session_uid, mark)
        for block in left
        for mark in (roles.PRINT, roles.MADE)
        if block.library is None and block.get(mark) and unchanged(block, block[mark])
    ]


def _refer_to(kept: bpy.types.ID, *, instead_of: bpy.types.ID) -> None:
    """Let the step's other new data use the block that the user changed: debris the changed shapes, for example.

    Nothing older can refer to a new block, so that a swap that fails has nothing to undo here.
    """
    for collection in list(getattr(instead_of, "users_collection", ())):
        collection.objects.unlink(instead_of)  # else the kept object would be linked there, too
    if type(kept) is type(instead_of):
        instead_of.user_remap(kept)


def edited(block: bpy.types.ID) -> bool:
    """Whether the user changed a block that a step made; a block without a fingerprint counts as unchanged."""
    kept = block.get(roles.PRINT)
    return bool(kept) and not unchanged(block, kept)
