"""Makes the pictures of the README: our owl in several materials, sets and lights, and our walnut hound.

    python3 build.py gallery [NAME ...] [--size 960] [--samples 64] [--out out/gallery] [--keep]

Each subject is taken from its scan to its shots once; then it is dressed again for every picture: material, tabletop, debris,
light. Without names all of `PICTURES` are made, those of scans that may not be passed on too: they are for the eye alone.
`--keep` puts those that are meant for the README into assets_demo/pictures, as JPEG under 250 kB, and `facts.json` beside the
others says how each was taken. BOZZETTO_CARD=CUDA (or OPTIX, HIP, METAL, ONEAPI) renders on such a graphics card.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from scripts import real_scans

ROOT = Path(__file__).resolve().parents[1]
SHOWN = ROOT / "assets_demo" / "pictures"
LARGEST_KB = 250
SAMPLES, NOISE = 64, 0.05

BENCH = ("tabletop.kind=planks", "lighting.setup=north_window")
SLATE = ("tabletop.kind=slate", "lighting.setup=soft", "tabletop.seed=3")
LINEN = ("tabletop.kind=cloth", "lighting.setup=north_window", "tabletop.backdrop=wall", "tabletop.seed=2")
CLOUDY = ("tabletop.kind=cloth", "lighting.setup=overcast", "tabletop.seed=2")
HOUND = ("tabletop.kind=planks", "lighting.setup=soft", "tabletop.seed=4")
SETS = {"bench": BENCH, "slate": SLATE, "linen": LINEN}

CLAY = ("material.piece=clay",)
WALNUT = ("material.piece=wood", "material.wood_species=walnut")
BRONZE = ("material.piece=bronze",)
CELADON = ("material.piece=glaze", "material.glaze_kind=celadon")
MATERIALS = {"clay": CLAY, "walnut": WALNUT, "bronze": BRONZE, "celadon": CELADON}
OWN = ("material.piece=own",)
SHOTS = ("hero", "detail", "back")
UNSHOWN = {"bowl": OWN + BENCH, "basket": OWN + CLOUDY, "armadillo": BRONZE + SLATE}
"""Scans whose packages state no licence that could be passed on, and how they are dressed."""


@dataclass(frozen=True)
class Picture:
    """One picture: whose it is, how the scene is dressed, from which shot; whether the README shows it."""

    name: str
    subject: str
    settings: tuple[str, ...]
    shot: str = "hero"
    shown: bool = False


def _pictures() -> Iterator[Picture]:
    for shot in SHOTS:
        yield Picture(f"owl_{shot}", "owl", CLAY + BENCH, shot, shown=True)
    shown = {"walnut linen", "bronze slate", "celadon slate", "clay linen"}
    for place, dressing in SETS.items():
        for stuff, settings in MATERIALS.items():
            if f"{stuff} {place}" != "clay bench":
                yield Picture(f"owl_{stuff}_{place}", "owl", settings + dressing, shown=f"{stuff} {place}" in shown)
    for shot in SHOTS:
        yield Picture(f"hound_{shot}", "hound", WALNUT + HOUND, shot, shown=True)
    for subject, settings in UNSHOWN.items():
        for shot in SHOTS:
            yield Picture(f"{subject}_{shot}", subject, settings, shot)


PICTURES = tuple(_pictures())


class Studio:
    """A subject taken from its scan to its shots, dressed again and again."""

    def __init__(self, subject: str, out: Path):
        import bpy

        from blender_addon.job import sheet as sheets
        from blender_addon.steps import catalogue

        self.out, self.path, self.steps = out, _sheet_of(subject, out.resolve()), catalogue()
        bpy.ops.wm.read_factory_settings(use_empty=True)  # making a scan leaves its room and its settings behind
        use_card(os.environ.get("BOZZETTO_CARD", ""))
        self.sheet = sheets.read(self.path, self.steps)
        self.dressed: tuple[str, ...] | None = None
        self._run([step for step in self.steps if step.folder in ("scan", "surface", "shots")])

    def _run(self, steps: list[Any]) -> None:
        import bpy

        from blender_addon.job.runner import finish, run_job
        from blender_addon.scene.stage import Stage

        self.stage = Stage(bpy.context.scene, self.sheet, out=self.out)
        self.figures = getattr(self, "figures", {}) | finish(run_job(steps, self.steps, self.sheet, self.stage)).figures()

    def dress(self, settings: tuple[str, ...]) -> None:
        """Material, table, debris and light by these settings; nothing to do where they are already so."""
        from blender_addon.job import sheet as sheets

        if settings == self.dressed:
            return
        self.sheet = sheets.read(self.path, self.steps)
        for setting in settings:
            sheets.override(self.sheet, setting)
        self._run([step for step in self.steps if step.name == "material" or step.folder == "dressing"])
        self.dressed = settings

    def picture(self, path: Path, shot: str, *, size: int, samples: int = SAMPLES, noise: float = NOISE) -> Path:
        """A still of a shot as it is delivered, `size` pixels along its longer side."""
        from blender_addon.scene.delivery.output import Quality, cycles, render_picture
        from blender_addon.scene.delivery.shot_state import dressed_for
        from blender_addon.scene.surface.rendered_form import rendered_form

        scene, camera, pixels = (
            self.stage.scene,
            self.stage.require("shot", shot),
            _pixels(self.stage.require("shot", shot), size),
        )
        with cycles(scene, Quality(samples, noise), device="auto", seed=1), dressed_for(self.stage, camera):
            with rendered_form(self._subject(), camera, pixels):
                render_picture(scene, path, camera=camera, size=pixels)
        return path

    def _subject(self) -> list[Any]:
        return [item for role in ("piece", "stand") for item in self.stage.find_all(role).values()]

    def windows(
        self,
        path: Path,
        shot: str,
        windows: Sequence[tuple[float, float, float, float]],
        *,
        size: int,
        samples: int,
        noise: float,
    ) -> list[Path]:
        """Parts (left, lower, right, upper, 0 to 1) of a still without finish, `size` pixels along its longer side."""
        from blender_addon.scene.delivery.output import Quality, cycles, render_picture
        from blender_addon.scene.delivery.shot_state import dressed_for

        scene, camera, paths = self.stage.scene, self.stage.require("shot", shot), []
        quality = Quality(samples, noise)
        with cycles(scene, quality, device="auto", seed=1, persistent=True), dressed_for(self.stage, camera):
            render = scene.render
            render.use_compositing, render.use_border, render.use_crop_to_border = False, True, True
            for place, (left, lower, right, upper) in enumerate(windows, 1):
                render.border_min_x, render.border_max_x = left, right
                render.border_min_y, render.border_max_y = lower, upper
                paths.append(path.with_name(f"{path.name} {place}.png"))
                render_picture(scene, paths[-1], camera=camera, size=_pixels(camera, size))
        return paths

    def facts(self, shot: str) -> dict[str, Any]:
        """How a shot is taken, as its camera says, and the exposure of the light."""
        camera = self.stage.require("shot", shot)
        lens = {key.removeprefix("bozzetto_"): camera[key] for key in camera.keys() if key.startswith("bozzetto_")}
        facts = {key: round(value, 3) for key, value in lens.items() if isinstance(value, float)}
        return facts | {name: self.figures[name] for name in ("material", "tabletop", "debris", "lighting")}


def use_card(kind: str) -> None:
    """Let Cycles render on the graphics cards of a kind, 'CUDA' or another that it knows; on the processor where it is ''."""
    import bpy

    if not kind:
        return
    preferences = bpy.context.preferences.addons["cycles"].preferences
    preferences.compute_device_type = kind
    preferences.refresh_devices()
    for device in preferences.devices:
        device.use = device.type == kind


def _pixels(camera: Any, size: int) -> tuple[int, int]:
    width, height = camera.get("bozzetto_resolution", (3, 2))
    return round(size * width / max(width, height)), round(size * height / max(width, height))


def _sheet_of(subject: str, out: Path) -> Path:
    """The job sheet of a subject: the demo's own, our hound's, or one written for a scan that a package brings."""
    if subject == "owl":
        return ROOT / "assets_demo" / "owl.toml"
    if subject == "hound":
        from scripts.truth import hound_scan

        kept = out / "hound" / "hound.toml"
        return kept if kept.is_file() else hound_scan.write_scan(kept.parent)
    out.mkdir(parents=True, exist_ok=True)
    path = out / f"{subject}.toml"
    scan = real_scans.fetch(subject)
    lines = ["bozzetto = 1", "[intake]", f'scan = "{scan.as_posix()}"', "[orientation]", "height = 90.0", "[material]"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def keep(source: Path, target: Path) -> int:
    """Write a picture as JPEG, as good as fits under `LARGEST_KB`; returns its quality. Raises ValueError when none fits."""
    from io import BytesIO

    from PIL import Image

    with Image.open(source) as picture:
        for quality in range(94, 60, -2):
            buffer = BytesIO()
            picture.convert("RGB").save(buffer, "JPEG", quality=quality, optimize=True, subsampling=0)
            if buffer.tell() <= 1000 * LARGEST_KB:
                break
        else:
            raise ValueError(f"{source} does not fit into {LARGEST_KB} kB as a JPEG that is worth showing")
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(buffer.getvalue())
    return quality


def main(argv: Sequence[str]) -> int:
    """Make the pictures that were named, all when none was."""
    parser = argparse.ArgumentParser(prog="build.py gallery", description=f"Pictures: {', '.join(p.name for p in PICTURES)}")
    parser.add_argument("names", nargs="*", metavar="NAME", help="which pictures; a name also stands for what begins with it")
    parser.add_argument("--size", type=int, default=960, help="longer side, pixels")
    parser.add_argument("--samples", type=int, default=SAMPLES, help="most samples a pixel")
    parser.add_argument("--noise", type=float, default=NOISE, help="noise at which a pixel is done")
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "gallery", help="where the pictures go")
    parser.add_argument("--keep", action="store_true", help="put those for the README into assets_demo/pictures")
    options = parser.parse_args(list(argv))
    options.out = options.out.resolve()
    wanted = [
        picture for picture in PICTURES if not options.names or any(picture.name.startswith(name) for name in options.names)
    ]
    if not wanted:
        parser.error(f"there is no picture {', '.join(options.names)}")
    studio, path_of_facts = None, options.out / "facts.json"
    facts = json.loads(path_of_facts.read_text(encoding="utf-8")) if path_of_facts.is_file() else {}
    for place, picture in enumerate(wanted):
        if place == 0 or picture.subject != wanted[place - 1].subject:
            studio = Studio(picture.subject, options.out)
        assert studio is not None
        started = time.perf_counter()
        studio.dress(picture.settings)
        path = studio.picture(
            options.out / f"{picture.name}.png", picture.shot, size=options.size, samples=options.samples, noise=options.noise
        )
        facts[picture.name] = studio.facts(picture.shot)
        path_of_facts.write_text(json.dumps(facts, indent=1, default=str) + "\n", encoding="utf-8")
        print(f"{path}  ({time.perf_counter() - started:.0f} s)", flush=True)
        if options.keep and picture.shown:
            keep(path, SHOWN / f"{picture.name}.jpg")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
