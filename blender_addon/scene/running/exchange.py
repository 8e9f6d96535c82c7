"""Replaces old data-blocks by new ones so that an error in between loses nothing.

Each change is recorded with its undo. Old blocks, with the data that only they use, are put aside and removed at the very end
in one call, when the new state is complete. Until then `take_back` restores the file's former state: the same objects, names,
links and properties.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator
from functools import partial

import bpy

from .. import roles
from ..compat import keep_compositor, our_compositor
from ..prints.fingerprint import unchanged
from .scene_settings import keep_settings
from .visibility import seen_in, show_as

_ABSENT = object()
_OURS_ALONE = (bpy.types.Mesh, bpy.types.Camera, bpy.types.Light, bpy.types.Curve)
"""Kinds of data that only their object uses."""
_MARKS = (roles.MADE, "bozzetto_matt", "bozzetto_nodes")


class Exchange:
    """The changes of one swap in a scene."""

    def __init__(self, scene: bpy.types.Scene):
        self.scene = scene
        self.finished = False
        self.restored: set[int] = set()
        """Session ids of the copies by which `take_back` replaced edited blocks."""
        self.kept: list[bpy.types.ID] = []
        """Data of the user's that nothing uses any more, kept in the file."""
        self._back: list[Callable[[], object]] = []
        self._old: list[bpy.types.ID] = []
        self._safe: list[bpy.types.ID] = []
        self._compositor: bpy.types.NodeTree | None = None

    # --- changes that can be undone --------------------------------------------------------------------------------------

    def put(self, block: bpy.types.ID, name: str, value: object) -> None:
        """Set a custom property."""
        before = block.get(name, _ABSENT)
        self._back.append(lambda: _put_back(block, name, before))
        block[name] = value

    def drop(self, block: bpy.types.ID, names: Iterable[str]) -> None:
        """Delete custom properties."""
        for name in names:
            if roles.has(block, name):
                before = block[name]
                self._back.append(partial(_put_back, block, name, before))
                del block[name]

    def assign(self, owner: bpy.types.ID, name: str, value: object) -> None:
        """Set an attribute."""
        before = getattr(owner, name)
        self._back.append(lambda: setattr(owner, name, before))
        setattr(owner, name, value)

    def remember(self, block: bpy.types.ID, attributes: Iterable[str], properties: Iterable[str]) -> None:
        """Record some attributes and custom properties of a block before other code sets them."""
        kept = [(name, getattr(block, name)) for name in attributes]
        owned = [(name, block.get(name, _ABSENT)) for name in properties]

        def back() -> None:
            for name, value in kept:
                setattr(block, name, value)
            for name, value in owned:
                _put_back(block, name, value)

        self._back.append(back)

    def make_collection(self, name: str, parent: bpy.types.Collection) -> bpy.types.Collection:
        """A new collection under a parent."""
        collection = bpy.data.collections.new(name)
        self._back.append(lambda: bpy.data.collections.remove(collection))
        parent.children.link(collection)
        return collection

    def take_place(self, old: bpy.types.ID, new: bpy.types.ID) -> None:
        """Remap all users of the old block to the new one, and put the old one aside."""
        is_object = isinstance(old, bpy.types.Object)
        places = list(old.users_collection) if is_object else []
        seen = seen_in(old, self.scene) if is_object else []

        def back() -> None:
            new.user_remap(old)
            if is_object:
                _put_into(old, places)
                show_as(old, self.scene, seen)

        self._back.append(back)
        old.user_remap(new)
        if is_object:
            show_as(new, self.scene, seen)
        self._put_down(old)

    def put_aside(self, old: bpy.types.ID) -> None:
        """Take a block out of the scene without a replacement."""
        if isinstance(old, bpy.types.Object):
            places, seen = list(old.users_collection), seen_in(old, self.scene)

            def back() -> None:
                _put_into(old, places)
                show_as(old, self.scene, seen)

            self._back.append(back)
            for collection in places:
                collection.objects.unlink(old)
        self._put_down(old)

    def _put_down(self, old: bpy.types.ID) -> None:
        self.drop(old, (roles.JOB,))  # it no longer belongs to the job
        self._old.append(old)

    def keep_safe(self, block: bpy.types.ID) -> None:
        """Copy a block before an arbitrary change; the copy replaces it when the change is undone."""
        data = getattr(block, "data", None)
        copy, data_copy = block.copy(), None if data is None else data.copy()
        self._safe += [entry for entry in (copy, data_copy) if entry is not None]
        is_object = isinstance(block, bpy.types.Object)
        places = list(block.users_collection) if is_object else []
        seen = seen_in(block, self.scene) if is_object else []
        name, data_name = block.name, "" if data is None else data.name

        def back() -> None:
            if data is not None:
                copy.data = data_copy
                block.data.user_remap(data_copy)
            block.user_remap(copy)
            bpy.data.batch_remove([entry for entry in (block, data) if entry is not None])
            copy.name = name
            self.restored.add(copy.session_uid)
            if data_copy is not None:
                data_copy.name = data_name
                self.restored.add(data_copy.session_uid)
            if is_object:
                _put_into(copy, places)
                show_as(copy, self.scene, seen)

        self._back.append(back)

    def keep_scene(self) -> None:
        """Remember all settings of the scene before an arbitrary change."""
        self._compositor = our_compositor(self.scene)
        self._back.append(keep_settings(self.scene))
        self._back.append(keep_compositor(self.scene))

    # --- the end ---------------------------------------------------------------------------------------------------------

    def aside(self) -> set[int]:
        """The session ids of all blocks put aside or kept as copies, which are not part of the new state."""
        return {block.session_uid for block in (*self._old, *self._safe)}

    def clear_names(self, *, afresh: bool) -> None:
        """Add the data that only the old blocks use to them, and rename all of it so that the names are free."""
        tree = self._compositor
        if tree is not None and not tree.is_embedded_data and tree.users == 0:
            self._old.append(tree)
        self._old = list(_with_dependents(self._old, self._safe, self.keep_theirs, afresh=afresh))
        for block in self._old:
            before = block.name
            self._back.append(partial(setattr, block, "name", before))
            block.name = f"{roles.stem(before)[:50]} (replaced)"

    def keep_theirs(self, block: bpy.types.ID) -> None:
        """Keep a material or picture of the user's that nothing uses any more, so that saving does not drop it."""
        self.assign(block, "use_fake_user", True)
        self.kept.append(block)

    def finish(self) -> None:
        """Remove the old blocks. After this nothing can be undone."""
        going = [*self._old, *self._safe]
        self.finished = True
        if going:
            bpy.data.batch_remove(going)

    def take_back(self) -> None:
        """Restore the file's former state. An undo that fails is skipped, so that the rest is done."""
        for undo in reversed(self._back):
            with contextlib.suppress(Exception):
                undo()


def _put_back(block: bpy.types.ID, name: str, value: object) -> None:
    if value is _ABSENT:
        block.pop(name, None)
    else:
        block[name] = value


def _put_into(item: bpy.types.Object, places: list[bpy.types.Collection]) -> None:
    for collection in list(item.users_collection):
        if collection not in places:
            collection.objects.unlink(item)
    for collection in places:
        if item.name not in collection.objects:
            collection.objects.link(item)


def _with_dependents(
    old: list[bpy.types.ID], safe: list[bpy.types.ID], keep_theirs: Callable[[bpy.types.ID], None], *, afresh: bool
) -> Iterator[bpy.types.ID]:
    """The blocks put aside and the data that only they use, without what the user made or changed, which stays in the file."""
    yield from old
    if not old:
        return
    legacy = any(block.get(roles.PRINT) and ":" not in block[roles.PRINT] for block in old)
    users = bpy.data.user_map()
    going = {block.session_uid for block in (*old, *safe)}
    left = [block for block in roles.blocks() if block.session_uid not in going and users.get(block)]
    while True:
        more = [block for block in left if all(user.session_uid in going for user in users[block])]
        if not more:
            return
        left = [block for block in left if block not in more]
        for block in more:
            if block.use_fake_user or isinstance(block, (bpy.types.Object, bpy.types.Collection, bpy.types.Text)):
                continue
            if isinstance(block, _OURS_ALONE) or _ours(block, legacy=legacy, afresh=afresh):
                going.add(block.session_uid)
                yield block
            else:
                keep_theirs(block)


def _ours(block: bpy.types.ID, *, legacy: bool, afresh: bool) -> bool:
    """Whether a step made a block and the user has not changed it. Files of 0.1.0 do not record this for every block."""
    if roles.has(block, roles.MADE):
        return afresh or unchanged(block, block[roles.MADE])
    return legacy or any(roles.has(block, mark) for mark in _MARKS)
