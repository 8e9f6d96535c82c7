"""Renders the piece with the camera and the light of each reference photo, and shows how far photo and render are apart."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from ...job.errors import OutputError
from ...job.files.names import check_name
from ...job.files.whole_files import check_free
from ...job.step import Progress, Result, Run
from ...scene.delivery.kept_pictures import KeptPictures, scene_digests
from ...scene.delivery.output import Quality, cycles, render_picture
from ...scene.reference.camera import is_moved
from ...scene.reference.files import Files, files_of
from ...scene.reference.light import lit_as_photo
from ...scene.reference.pictures import compare, figures_of
from ...scene.stage import Stage
from ...scene.surface.rendered_form import rendered_form
from .declared.comparison import Settings

if TYPE_CHECKING:
    import bpy


def run(stage: Stage, settings: Settings) -> Run:
    """Render what is missing or out of date, and compare."""
    references = stage.find_all("reference")
    if not references:
        yield Progress(1.0, "No reference photo to compare with")
        return Result("No reference photo to compare with", {"compared": []})
    if stage.out is None:
        raise OutputError("Rendering needs a folder to write to: choose one")
    files = {name: files_of(stage.out, check_name("The reference's name", name)) for name in references}
    check_free([path for own in files.values() for path in own])
    compared: list[str] = []
    words: list[str] = []
    figures: dict[str, object] = {"compared": compared}
    for turn, (name, own) in enumerate(files.items()):
        photo, mask = stage.find("reference_photo", name), stage.find("reference_mask", name)
        if photo is None or mask is None:
            stage.warn(f"{name}: its photo is no longer in the .blend, so there is nothing to lay its render beside")
            continue
        yield Progress(turn / len(files), f"rendering {name} as its photo shows it", blocking=True)
        _rendered(stage, settings, name, own)
        yield Progress((turn + 0.9) / len(files), f"comparing {name} with its photo")
        if is_moved(stage.require("reference", name)):
            stage.warn(f"{name}: its camera was moved by hand, so that photo and render no longer lie on each other")
        try:
            found = compare(photo, mask, own)
        except ValueError as error:
            stage.warn(f"{name} can't be compared with its photo: {error}")
            continue
        compared.append(name)
        figures |= figures_of(found, name)
        words.append(
            f"{name}: colour differs from the photo by {found.colour_mean:.1f} CIEDE2000 in the mean, light and shade of the "
            f"form agree to {found.form_alike:.2f}"
        )
    return Result("; ".join(words) or "No render could be laid beside its photo", figures)


def _rendered(stage: Stage, settings: Settings, name: str, files: Files) -> None:
    """Render one reference shot unless the picture is up to date."""
    camera = stage.require("reference", name)
    width, height = camera["bozzetto_resolution"]
    factor = settings.size / max(width, height)
    size = (max(8, round(width * factor)), max(8, round(height * factor)))
    shown = (scene_digests(stage.scene, stage.job).of(camera), name, size, settings.samples)
    digest = hashlib.sha256(repr(shown).encode()).hexdigest()[:20]
    kept = KeptPictures(files.render.parent)
    if kept.current(files.render, digest):
        return
    quality = Quality(settings.samples, 0.05)
    items: list[bpy.types.Object] = stage.subject()
    with cycles(stage.scene, quality, device=stage.sheet["render"].device, seed=stage.seed), lit_as_photo(stage, name):
        with rendered_form(items, camera, size):
            render_picture(stage.scene, files.render, camera=camera, size=size)
    kept.add(files.render, digest)
