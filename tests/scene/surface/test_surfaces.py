"""Does a small piece get a fine clay body?"""

from __future__ import annotations

from blender_addon.scene.surface.surfaces import surface_of
from blender_addon.steps.surface.declared.material import Settings


def test_grog_is_finer_on_a_small_piece_and_as_usual_on_others() -> None:
    """Grains of 0.4 mm on a cat of 45 mm looked like marks; 0.1 mm is the size of coarse silt, still no plastic."""
    settings = Settings(clay_body="stoneware")
    sizes = {size: surface_of("clay", settings, size_mm=size).values["Grog Size"] for size in (5.0, 20.0, 40.0, 80.0, 300.0)}
    assert sizes == {5.0: 0.1, 20.0: 0.1, 40.0: 0.2, 80.0: 0.4, 300.0: 0.4}
    assert "Grog Size" not in surface_of("plaster", settings, size_mm=20.0).values
