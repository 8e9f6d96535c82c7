"""What is in the open file? A picture of all of it that two states can be compared by."""

from __future__ import annotations

from typing import Any

import bpy

from blender_addon.scene import roles
from blender_addon.scene.prints.fingerprint import fingerprint, reference
from blender_addon.scene.running.scene_settings import _PARTS, _plain, compositor_print, owner_of


def whole_file() -> dict[str, Any]:
    """Every data-block with its content, marks and links, and every scene with its settings."""
    found: dict[str, Any] = {}
    for block in roles.blocks():
        marks = {name: plain(block[name]) for name in sorted(block.keys()) if name != "cycles"}
        entry = {"print": fingerprint(block), "marks": marks, "fake": block.use_fake_user, "users": block.users}
        if isinstance(block, bpy.types.Object):
            entry |= {
                "in": sorted(collection.name for collection in block.users_collection),
                "data": block.data.name if block.data else "",
                "parent": block.parent.name if block.parent else "",
                "shown": (block.hide_render, block.hide_viewport, block.hide_select),
                "targets": [constraint.target.name for constraint in block.constraints if getattr(constraint, "target", None)],
                "slots": [slot.material.name if slot.material else "" for slot in block.material_slots],
            }  # fmt: skip
        elif isinstance(block, bpy.types.Collection):
            entry |= {"objects": sorted(block.objects.keys()), "children": list(block.children.keys())}
        found[f"{type(block).__name__} {block.name}"] = entry
    for scene in bpy.data.scenes:
        found[f"scene {scene.name}"] = scene_state(scene)
    return found


def scene_state(scene: Any) -> dict[str, Any]:
    """A scene's settings, marks and view layers."""
    settings = {}
    for part in _PARTS:
        owner, _ = owner_of(scene, f"{part}." if part else "")
        settings |= {f"{part}.{name}": repr(value) for name, value in _plain(owner)}
    layers = []
    for layer in scene.view_layers:
        layer.update()
        active = layer.objects.active
        eyes = sorted((item.name, item.hide_get(view_layer=layer), item.select_get(view_layer=layer)) for item in layer.objects)
        layers.append((layer.name, active.name if active else "", eyes))
    return {
        "settings": settings, "layers": layers, "camera": reference(scene.camera), "world": reference(scene.world),
        "compositor": compositor_print(scene),
        "marks": {key: plain(scene[key]) for key in scene.keys() if key.startswith("bozzetto_")},
        "objects": sorted(scene.collection.objects.keys()), "children": list(scene.collection.children.keys()),
    }  # fmt: skip


def plain(value: Any) -> Any:
    """A custom property as it can be compared."""
    return value.to_list() if hasattr(value, "to_list") else value.to_dict() if hasattr(value, "to_dict") else value


def differences(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """What differs, in words."""
    found = [f"{name} is gone" for name in before if name not in after] + [
        f"{name} is new" for name in after if name not in before
    ]
    for name in before:
        for part in before[name] if name in after else ():
            was, now = before[name][part], after[name].get(part)
            if isinstance(was, dict) and isinstance(now, dict):
                pairs = [(f"{part} {key}", was.get(key), now.get(key)) for key in sorted({*was, *now})]
            else:
                pairs = [(part, was, now)]
            found += [
                f"{name}: {what} was {before!r} and is {other!r}"[:300] for what, before, other in pairs if before != other
            ]
    return found
