"""Do the pictures hold up as photographs: nothing clipped, clean shadows, exposure and colour as the cards say?

The demo runs once; then it is dressed in the gallery's materials and lights, and each still is a case. `clipped_percent` is
read from the picture as delivered. `dark_noise` compares the picture without finish with one of 16 times the samples. The
cards are photographed at the subject's place in the light of that still, by a camera of their own and in linear light, with
another seed than the job's meter had: the grey card against where exposure should have put it, the 24-patch chart (published
values, tests/outside) after white balance on its own grey. A whole run takes long on a CPU: `--fast` does the hero alone, at
a third of the size; `--cases` picks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from . import ROOT, Options, Record

SIZE = 360
REFERENCE = 16
GALLERY: dict[str, tuple[str, ...]] = {
    "stoneware window": (),
    "terracotta soft": ("material.clay_body=terracotta", "material.clay_state=fired", "lighting.setup=soft"),
    "walnut lamp": ("material.piece=wood", "lighting.setup=bench_lamp"),
    "bronze window": ("material.piece=bronze",),
    "plaster overcast": ("material.piece=plaster", "lighting.setup=overcast"),
    "glaze courtyard": ("material.piece=glaze", "lighting.setup=hdri", "lighting.surroundings=courtyard"),
}


@dataclass(frozen=True)
class Still:
    """One still of the gallery: its case, the settings, the shot."""

    case: str
    settings: tuple[str, ...]
    shot: str


def run(record: Record, options: Options) -> None:
    """All stills that are wanted."""
    sheets = sorted((ROOT / "assets_demo").glob("*.toml"))
    if not sheets:
        record.fail("assets_demo holds no job sheet")
        return
    gallery = _Gallery(sheets[0], options.out)
    for name, settings in GALLERY.items():
        shots = [shot for shot in gallery.shots() if not options.fast or shot == "hero"]
        wanted = [shot for shot in shots if options.wants(f"{name}/{shot}")]
        if wanted:
            gallery.dress(settings)
        for shot in wanted:
            _still(record, gallery, Still(f"{name}/{shot}", settings, shot), SIZE // 3 if options.fast else SIZE)


def _still(record: Record, gallery: _Gallery, still: Still, size: int) -> None:
    clean = gallery.picture(still, size, samples=1)
    delivered = gallery.picture(still, size, samples=1, finish=True)
    truth = gallery.picture(still, size, samples=REFERENCE)
    record.add("clipped_percent", clipped_percent(delivered), case=still.case, unit="%", goal="<= 0.5")
    record.add("dark_noise", dark_noise(clean, truth), case=still.case, unit="8-bit steps", goal="<= 2")
    grey, chart = gallery.cards(still)
    record.add("grey_card_stops_off", abs(math.log2(grey)), case=still.case, unit="stops", goal="<= 0.1")
    record.add("card_delta_e2000", chart_difference(chart), case=still.case, goal="<= 3")


def clipped_percent(codes: np.ndarray) -> float:
    """Share of pixels (h, w, 3; 8-bit codes) with any channel at its upper end, or all at the lower."""
    high = (codes >= 254.5).any(axis=-1)
    low = (codes <= 0.5).all(axis=-1)
    return 100.0 * float((high | low).mean())


def dark_noise(codes: np.ndarray, truth: np.ndarray) -> float:
    """Standard deviation from the reference in its darkest tenth, 8-bit steps."""
    bright = truth.mean(axis=-1)
    dark = bright <= np.quantile(bright, 0.1)
    return float(np.std((codes - truth).mean(axis=-1)[dark]))


def chart_difference(patches: np.ndarray) -> float:
    """Mean CIEDE2000 of (24, 3) linear patches from the published ones, white-balanced on the fourth grey."""
    from blender_addon.core.colour import delta_e_2000, lab
    from blender_addon.core.colour_card import CHART

    published = np.clip(CHART, 0.0, 1.0)  # cyan lies outside of the gamut: no surface of this renderer can have it
    balanced = patches * (published[21] / patches[21])
    return float(np.mean(delta_e_2000(lab(balanced), lab(published))))


class _Gallery:
    """The demo's scene, dressed again and again."""

    def __init__(self, sheet: Path, out: Path):
        import bpy

        from blender_addon.job import sheet as sheets
        from blender_addon.steps import catalogue

        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.out, self.path, self.steps = out, sheet, catalogue()
        self.sheet = sheets.read(sheet, self.steps)
        self._run([step for step in self.steps if step.folder != "delivery"])

    def _run(self, steps: list[Any]) -> None:
        import bpy

        from blender_addon.job.runner import finish, run_job
        from blender_addon.scene.stage import Stage

        self.stage = Stage(bpy.context.scene, self.sheet, out=self.out)
        self.results = finish(run_job(steps, self.steps, self.sheet, self.stage)).results

    def shots(self) -> list[str]:
        return [key for key in ("hero", "detail", "back") if key in self.stage.find_all("shot")]

    def dress(self, settings: tuple[str, ...]) -> None:
        from blender_addon.job import sheet as sheets

        self.sheet = sheets.read(self.path, self.steps)
        for one in settings:
            sheets.override(self.sheet, one)
        self._run([step for step in self.steps if step.name in ("material", "lighting")])

    def picture(self, still: Still, size: int, *, samples: int, finish: bool = False) -> np.ndarray:
        """(h, w, 3) 8-bit codes of the still, with `samples` times the samples that the job would spend."""
        from blender_addon.scene.output import Quality, cycles, render_picture
        from blender_addon.scene.shot_state import dressed_for
        from blender_addon.steps.delivery.render import PRESETS

        usual = PRESETS["final"][0]
        noise = usual.noise / math.sqrt(samples)  # 16 times the samples where the noise threshold decides, too
        shot = self.stage.require("shot", still.shot)
        width, height = shot.get("bozzetto_resolution", (3, 2))
        pixels = round(size * width / max(width, height)), round(size * height / max(width, height))
        words = "" if samples == 1 else f" x{samples}"
        path = self.out / f"{still.case.replace('/', ' ')}{' finished' if finish else ''}{words}.png"
        scene = self.stage.scene
        quality = Quality(usual.samples * samples, noise, usual.denoise)
        with cycles(scene, quality, device="auto", seed=1), dressed_for(self.stage, shot):
            scene.render.use_compositing = finish
            render_picture(scene, path, camera=shot, size=pixels)
        return _codes(path)

    def cards(self, still: Still) -> tuple[float, np.ndarray]:
        """What the grey card reads over what it should after exposure, and the (24, 3) linear patches of the chart."""
        from blender_addon.core.exposure import GREY, OFFSETS
        from blender_addon.core.srgb import luminance
        from blender_addon.scene import meter
        from blender_addon.scene.shot_state import dressed_for

        stage = self.stage
        shot, card = stage.require("shot", still.shot), stage.require("card", "grey")
        with dressed_for(stage, shot):
            place, normal = card.matrix_basis.translation * 1000.0, -(card.matrix_basis.to_3x3().col[2])
            around = [item for role in ("table", "backdrop", "prop") for item in stage.find_all(role).values()]
            lit = [item for role in ("light", "card") for item in stage.find_all(role).values() if item != card]
            common = {
                "centre_mm": tuple(place), "normal": tuple(normal), "world": stage.scene.world, "seed": 991,
                "lights": [item for item in lit if not item.hide_render],
                "around": [item for item in around if not item.hide_render],
            }  # fmt: skip
            exposure = 2.0**stage.scene.view_settings.exposure
            grey = float(luminance(meter.read_card(**common).colour)) * exposure
            chart = meter.read_chart(**common)
        settings = self.sheet["lighting"]
        offset = OFFSETS.get(self.sheet["material"].piece, 0.0) if settings.offset is None else settings.offset
        return grey / (GREY * 2.0**offset), chart


def _codes(path: Path) -> np.ndarray:
    from PIL import Image

    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"), float)
