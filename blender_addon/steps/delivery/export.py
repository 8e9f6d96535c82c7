"""Writes the files for the client: pictures in the wanted size and format, the piece as GLB and USD, pages that show them."""

from __future__ import annotations

from collections.abc import Generator

from ...job.errors import OutputError
from ...job.files.made_files import MAKERS_PAGE, PAGE
from ...job.notes import several
from ...job.pages.page import client_page, makers_page
from ...job.step import Progress, Result, Run
from ...scene.delivery.asset_files import AssetPart, write_glb, write_usd
from ...scene.delivery.relief_files import write_relief
from ...scene.running.session import write_text
from ...scene.stage import Stage
from . import _copies, _pages
from .declared.export import Settings


def run(stage: Stage, settings: Settings) -> Run:
    """Write the requested files; each appears whole or not at all."""
    if stage.out is None:
        raise OutputError("There is no folder to hand over to: choose one")
    files: list[tuple[str, str]] = []
    yield from _asset(stage, settings, files)
    if settings.relief:
        yield from _relief(stage, files)
    files += yield from _copies.write_copies(stage, settings)
    _copies.tell_of_old(stage, files)
    if settings.page:
        yield Progress(0.95, "pages")
        turning = _pages.write_turn(stage, stage.sheet["render"].mark)
        write_text(stage.out / PAGE, client_page(_pages.client_content(stage, settings, files, turning)))
        write_text(stage.out / MAKERS_PAGE, makers_page(_pages.makers_content(stage, settings, files)))
    count = len(files) + 2 * settings.page
    figures = {"files": [path for path, _ in files], "page": settings.page, **_pages.on_a_card(stage, settings)}
    return Result(several(count, "file"), figures)


def _asset(stage: Stage, settings: Settings, files: list[tuple[str, str]]) -> Generator[Progress, None, None]:
    assert stage.out is not None
    for wanted, writer, suffix, what in (
        (settings.glb, write_glb, ".glb", "the piece on its stand, glTF 2.0"),
        (settings.usd, write_usd, ".usdc", "the same as USD"),
    ):
        if wanted:
            yield Progress(0.05, f"{suffix[1:].upper()} file", blocking=True)
            target = stage.out / f"{stage.sheet.name}{suffix}"
            writer(_parts(stage), target)
            files.append((target.name, what))


def _relief(stage: Stage, files: list[tuple[str, str]]) -> Generator[Progress, None, None]:
    assert stage.out is not None
    for role in ("piece", "stand"):
        height, normal = (stage.find(f"relief_{part}", role) for part in ("height", "normal"))
        if height is not None or normal is not None:
            yield Progress(0.2, f"relief of the {role}")
            written = write_relief(stage.out / "relief", f"{stage.sheet.name}_{role}", height, normal)
            files.extend((f"relief/{name}", what) for name, what in written)
    if not any(name.startswith("relief/") for name, _ in files):
        stage.note("No relief was recovered, so there are no maps of it to hand over")


def _parts(stage: Stage) -> list[AssetPart]:
    parts = []
    for role in ("piece", "stand"):
        item = stage.find(role)
        if item is not None:
            parts.append(
                AssetPart(
                    role.capitalize(), item, surface=stage.find("surface", role), albedo=stage.find("albedo", role),
                    normal=stage.find("relief_normal", role),
                )
            )  # fmt: skip
    return parts
