"""What is left when the disk is full in the middle of each kind of file? Nothing that is cut, and all that was there before.

`full_disks(folder)` gives (cases, clean cases). Each case writes over an older file of ours on a disk with room for a part of
the new one. The disk is a small file system in memory (`mount -t tmpfs`, which asks for root on Linux); where it can't be
mounted, the size of a file is limited (RLIMIT_FSIZE), so that a write beyond it fails as it does on a full disk. A case is
clean when it ends in an OutputError, the older file is as it was, every file there is whole, and no draft is left.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from .. import ROOT, Options, Record
from . import tell

PAGE_BYTES = 4096
FAST = ("page", "list", "copy-png16", "copy-tiff16", "copy-jpeg", "still-at-0.3", "contact-sheet", "blend")


@dataclass(frozen=True)
class Case:
    """A writer, the names of what it writes, and the share of the new bytes that the disk has room for.

    older: files of these names lie there already; where several are written, replacing the first makes room for the next.
    """

    name: str
    write: Callable[[Path], Any]
    files: tuple[str, ...]
    share: float = 0.4
    older: bool = True


def run(record: Record, options: Options) -> None:
    """All files; `--fast` a few. They are quick, so that the first piece of several tries all of them."""
    if options.piece[0] == 1:
        counts = full_disks(options.out / "full_disks", fast=options.fast)
        tell(record, replace(options, piece=(1, 1)), ("full_disks", "full_disks_clean"), counts, least=12)


def full_disks(folder: Path, *, fast: bool = False) -> tuple[int, int]:
    """(cases tried, cases that were clean); what was not clean is printed. Runs Blender in a process of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    table = folder / "full_disks.json"
    table.unlink(missing_ok=True)
    command = [sys.executable, "-m", __name__, str(folder), *(["--fast"] if fast else [])]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=1800)
    if not table.is_file():
        raise RuntimeError((done.stderr or done.stdout).strip()[-800:] or f"ended with {done.returncode}")
    found: dict[str, str] = json.loads(table.read_text(encoding="utf-8"))
    for name, wrong in found.items():
        print(f"  full disk, {name}: {wrong or 'clean'}", flush=True)
    return len(found), sum(not wrong for wrong in found.values())


@contextlib.contextmanager
def small_disk(folder: Path, size: int) -> Iterator[Path | None]:
    """A file system of about `size` bytes at a folder; None where none can be mounted."""
    folder.mkdir(parents=True, exist_ok=True)
    whole = -(-size // PAGE_BYTES) * PAGE_BYTES
    command = ["mount", "-t", "tmpfs", "-o", f"size={whole}", "tmpfs", str(folder)]
    try:
        mounted = subprocess.run(command, capture_output=True, check=False).returncode == 0
    except OSError:
        mounted = False
    try:
        yield folder if mounted else None
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], capture_output=True, check=False)


@contextlib.contextmanager
def small_files(size: int) -> Iterator[None]:
    """No file may grow past `size` bytes; a write beyond it fails with EFBIG instead of ending the process."""
    import resource
    import signal

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)


def judged(case: Case, folder: Path) -> str:
    """Run a case; what was not clean about it, '' when all was."""
    from blender_addon.job.files.whole_files import begin_folder

    trial = folder / "whole" / case.name
    begin_folder(trial)
    case.write(trial)
    old_bytes = {name: (trial / name).read_bytes() for name in case.files}
    new, largest = sum(map(len, old_bytes.values())), max(map(len, old_bytes.values()))
    old_bytes = old_bytes if case.older else {}
    place = folder / "small" / case.name
    with small_disk(place, 3 * new + (1 << 20)) as disk:
        target = (disk or folder / "limited") / case.name
        _prepare(target, old_bytes)
        if disk:
            _fill(disk / "ballast", leave=int(case.share * new))
        limit = contextlib.nullcontext() if disk else small_files(max(1, int(case.share * largest)))
        with limit:
            wrong = _refused(case, target)
        return wrong or _left(target, old_bytes)


def _fill(ballast: Path, *, leave: int) -> None:
    """Fill a disk up to about `leave` bytes, whole pages."""
    with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(bytes(PAGE_BYTES)) == PAGE_BYTES:
            pass
    size = ballast.stat().st_size // PAGE_BYTES * PAGE_BYTES
    os.truncate(ballast, max(0, size - leave // PAGE_BYTES * PAGE_BYTES))


def _prepare(target: Path, old_bytes: dict[str, bytes]) -> None:
    from blender_addon.job.files.whole_files import begin_folder, write_bytes

    begin_folder(target)
    for name, data in old_bytes.items():
        write_bytes(target / name, data)


def _refused(case: Case, target: Path) -> str:
    from blender_addon.job.errors import OutputError

    try:
        case.write(target)
    except OutputError:
        return ""
    except BaseException as error:  # whatever else comes is what this bench is for
        return f"ended in {type(error).__name__}: {str(error)[:200]}"
    return "ended as if all was well"


def _left(target: Path, old_bytes: dict[str, bytes]) -> str:
    from blender_addon.core.files.whole import damage
    from blender_addon.job.files.made_files import MANIFEST, MadeFiles

    for name, data in old_bytes.items():
        path = target / name
        if not path.is_file():
            return f"the older {name} is gone"
        if path.read_bytes() != data and damage(path):
            return f"the older {name} was written over by a cut one"
    for path in sorted(target.rglob("*")):
        if path.is_file() and path.name != MANIFEST:
            if path.name.startswith(".") or "draft" in path.name or path.name.endswith("@"):
                return f"a draft was left: {path.name}"
            if damage(path):
                return f"{path.name} {damage(path)}"
    return "" if MadeFiles.read(target) is not None else "the list of files is damaged"


def cases(folder: Path) -> list[Case]:
    """All cases, with a scene, and stills with their originals to make copies of."""
    import bpy

    from blender_addon.scene.delivery.originals import keep_render

    bpy.ops.wm.read_factory_settings(use_empty=True)
    camera = _scene(bpy.context.scene)
    image = _noise(400, 300)
    stills = [folder / "source" / f"{name}.png" for name in ("hero", "back")]
    for still in stills:
        keep_render(bpy.context.scene, still, image)
    return [*_picture_cases(image, stills, camera), *_copy_cases(stills[0]), *_file_cases()]


def _picture_cases(image: Any, stills: list[Path], camera: Any) -> list[Case]:
    """Stills with their originals, cut in each of the three files, a frame, a sheet, a film."""
    import bpy

    from blender_addon.scene.delivery.contact_sheet import write_contact_sheet
    from blender_addon.scene.delivery.originals import keep_render
    from blender_addon.scene.delivery.output import Quality, cycles, render_picture
    from blender_addon.scene.delivery.video import write_video

    scene = bpy.context.scene
    three = ("pictures/hero.png", "pictures/.originals/hero.png", "pictures/.originals/hero.exr")
    captions = [(still, still.stem) for still in stills]

    def still(at: Path) -> None:
        keep_render(scene, at / three[0], image)

    def frame(at: Path) -> None:
        with cycles(scene, Quality(1, 0.0, denoise=False), device="cpu", seed=1):
            render_picture(scene, at / "turntable" / "0001.png", camera=camera, size=(256, 192))

    return [
        *(Case(f"still-at-{share}", still, three, share, older=share < 0.5) for share in (0.3, 0.7, 0.95)),
        Case("frame", frame, ("turntable/0001.png",)),
        Case("contact-sheet", lambda at: write_contact_sheet(captions, at / "sheet.png"), ("sheet.png",)),
        Case("video", lambda at: write_video(stills, at / "turn.mp4", size=(400, 300), fps=12, turns=4), ("turn.mp4",)),
    ]


def _copy_cases(still: Path) -> list[Case]:
    """A copy in each format."""
    from blender_addon.scene.delivery.copies.client_pictures import SUFFIX, Wanted, write_copy

    def copy(kind: str) -> Callable[[Path], Any]:
        return lambda at: write_copy(still, at / "hand_over" / "copy", Wanted(kind, credit="Åsa"), field_width_mm=90.0)

    return [Case(f"copy-{kind}", copy(kind), (f"hand_over/copy{suffix}",)) for kind, suffix in SUFFIX.items()]


def _file_cases() -> list[Case]:
    """Models, maps, pages, tables, the .blend, and the list of files itself."""
    import bpy

    from blender_addon.core.files.pictures.png16 import png16
    from blender_addon.job.files.whole_files import write_bytes, write_text
    from blender_addon.job.runner import Report
    from blender_addon.job.step import Result
    from blender_addon.scene.delivery.asset_files import AssetPart, write_glb, write_usd
    from blender_addon.scene.running.session import save_blend, write_figures

    part = AssetPart("Piece", bpy.data.objects["piece"])
    report = Report({"intake": Result("read", {"values": list(range(20000))})}, {"intake": 1.0})
    grey = np.random.default_rng(1).random((200, 300))
    page = f"<html>{'x' * 60000}</html>"
    usd = (
        [Case("usd", lambda at: write_usd([part], at / "owl.usdc"), ("owl.usdc",))] if hasattr(bpy.ops.wm, "usd_export") else []
    )
    return [
        Case("glb", lambda at: write_glb([part], at / "owl.glb"), ("owl.glb",)),
        *(usd if hasattr(bpy.ops.wm, "usd_export") else []),
        Case("relief", lambda at: write_bytes(at / "relief" / "a.png", png16(grey)), ("relief/a.png",)),
        Case("page", lambda at: write_text(at / "index.html", page), ("index.html",)),
        Case("figures", lambda at: write_figures(at / "figures.json", report), ("figures.json",)),
        Case("blend", lambda at: save_blend(at / "owl.blend"), ("owl.blend",)),
        Case("list", lambda at: [write_text(at / f"{number}.txt", "x" * 9000) for number in range(20)], ("19.txt",), 0.0),
    ]


def _scene(scene: Any) -> Any:
    import bpy

    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    camera.location, camera.rotation_euler = (0, -5, 0), (np.pi / 2, 0, 0)
    scene.collection.objects.link(camera)
    bpy.ops.mesh.primitive_ico_sphere_add(subdivisions=5)
    piece = bpy.context.object
    piece.name = "piece"
    rng = np.random.default_rng(2)
    for vertex in piece.data.vertices:
        vertex.co *= 1.0 + 0.01 * rng.random()
    lamp = bpy.data.objects.new("lamp", bpy.data.lights.new("lamp", "SUN"))
    lamp.data.energy = 3.0
    lamp.rotation_euler = (1, 0.3, 0)
    scene.collection.objects.link(lamp)
    return camera


def _noise(width: int, height: int) -> Any:
    """A picture that does not compress, in linear light."""
    import bpy

    image = bpy.data.images.new("noise", width, height, float_buffer=True)
    pixels = np.ones((height, width, 4), np.float32)
    pixels[..., :3] = np.random.default_rng(1).random((height, width, 3))
    image.pixels.foreach_set(pixels.ravel())
    return image


def main(arguments: list[str]) -> None:
    """Run all cases (with --fast those of `FAST`) and write what was not clean, by name."""
    folder, fast = Path(arguments[0]), "--fast" in arguments
    found = {case.name: judged(case, folder) for case in cases(folder) if not fast or case.name in FAST}
    (folder / "full_disks.json").write_text(json.dumps(found, indent=1), encoding="utf-8")
    sys.stdout.flush()
    os._exit(0)  # past the wheel's own tearing down, where 4.5 crashes or hangs


if __name__ == "__main__":
    main(sys.argv[1:])
