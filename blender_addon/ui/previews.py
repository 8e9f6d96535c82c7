"""Small pictures in panels and dialogs. Blender draws them by icon numbers, and frees icons only on request."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import bpy
import bpy.utils.previews

from ..core.arrays import Floats


class Previews:
    """The icons of one panel or dialog, kept until their pictures change or `close` frees them."""

    def __init__(self) -> None:
        self._icons: bpy.utils.previews.ImagePreviewCollection | None = None
        self._versions: dict[str, object] = {}

    def of_file(self, path: Path) -> int:
        """The icon of a picture file, loaded again when the file has changed. Raises OSError where there is no file."""
        return self._icon(
            str(path), path.stat().st_mtime_ns, lambda icons, name: icons.load(name, str(path), "IMAGE", force_reload=True)
        )

    def of_pixels(self, name: str, version: object, pixels: Callable[[], Floats | None]) -> int:
        """The icon of pixels (h, w, 4), 0 to 1, row 0 at the bottom; 0 where there are none.

        They are asked for only when `version` is another than before.
        """

        def filled(icons: bpy.utils.previews.ImagePreviewCollection, name: str) -> bpy.types.ImagePreview | None:
            found = pixels()
            if found is None:
                return None
            preview = icons.new(name)
            preview.image_size = (found.shape[1], found.shape[0])  # type: ignore[assignment]
            preview.image_pixels_float.foreach_set(found.astype("f4").ravel())
            return preview

        return self._icon(name, version, filled)

    def _icon(
        self,
        name: str,
        version: object,
        make: Callable[[bpy.utils.previews.ImagePreviewCollection, str], bpy.types.ImagePreview | None],
    ) -> int:
        if self._icons is None:
            self._icons = bpy.utils.previews.new()
        if name not in self._icons or self._versions.get(name) != version:
            if name in self._icons:
                del self._icons[name]
            if make(self._icons, name) is None:
                return 0
            self._versions[name] = version
        return self._icons[name].icon_id

    def close(self) -> None:
        """Free all icons."""
        if self._icons is not None:
            bpy.utils.previews.remove(self._icons)
        self._icons = None
        self._versions.clear()
