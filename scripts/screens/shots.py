"""Photographs of the tab before and after one click on a small scan; fails on any exception, in `draw` too."""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from scripts.tasks import ROOT, TaskError, debian, envs

HERE = Path(__file__).parent
SUITE = "sid"
DRIVERS = (
    "drive.py",
    "by_hand.py",
    "by_tools.py",
    "by_scenes.py",
    "by_drops.py",
    "checks.py",
    "measure.py",
    "fuzz.py",
    "edits.py",
    "tour.py",
)
LEFT = ("pictures", "samples", "looks", "turntable", "comparison")
"""Folders of a finished job that are brought with its .blend."""
TROUBLE = re.compile(r"Traceback|Python script error in|^Error: |^\w+Error: |unknown operator|rna_uiItem", re.M)


def main(arguments: Sequence[str], zip_path: Path) -> int:
    """Build the window's folder once, run the driver in it, bring the pictures home; 0 when nothing raised."""
    parser = argparse.ArgumentParser(prog="build.py screens")
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "screens")
    parser.add_argument("--size", default="1400x1800", help="of the screen; tall, because panels are long")
    parser.add_argument("--sheet", type=Path, help="a job sheet whose folder holds its scans; otherwise a small scan of a knob")
    parser.add_argument("--until", default="", help="the last step that the click runs; otherwise all")
    parser.add_argument("--by-hand", action="store_true", help="instead: choose a pose, pick pairs, paint the stand, by mouse")
    parser.add_argument("--tools", nargs="*", help="instead: the tools of the view by mouse; all, or some by name")
    parser.add_argument(
        "--tour", nargs="*", help="instead: the README's pictures of the window, with --blend; all, or some by name"
    )
    parser.add_argument("--blend", type=Path, help="a .blend whose job ran until then, instead of the click")
    parser.add_argument("--rebuild", action="store_true", help="fetch the window's Blender again")
    options = parser.parse_args(arguments)
    by_hand: dict[str, object] = {}

    def place(folder: Path) -> str:
        if options.blend is not None:
            shutil.copy(options.blend, folder / "job.blend")
            for name in LEFT:
                if (options.blend.parent / name).is_dir():
                    shutil.copytree(options.blend.parent / name, folder.parent / "out" / "pictures" / name)
        if not options.by_hand:
            return _job(folder, options.sheet)
        by_hand.update(_tile(folder))
        return "tile.toml"

    def wanted() -> dict[str, object]:
        if options.tools is not None:
            return {"until": "lighting", "session": "by_tools", "tools": options.tools, "blend": options.blend is not None}
        if options.tour is not None:
            return {"until": "", "session": "tour", "tour": options.tour, "blend": options.blend is not None}
        session, until = ("by_hand", "registration") if by_hand else ("", options.until)
        return {"until": until, "by_hand": by_hand, "session": session}

    played = play(zip_path, place, wanted, size=options.size, rebuild=options.rebuild)
    options.out.mkdir(parents=True, exist_ok=True)
    for old in options.out.glob("*.png"):
        old.unlink()
    for picture in played.pictures:
        shutil.copy(picture, options.out)
    (options.out / "log.txt").write_text(played.log, encoding="utf-8")
    print(f"\n{len(played.pictures)} pictures in {options.out}")
    for line in played.trouble:
        print(f"FAILED {line}")
    return 1 if played.code or played.trouble or not played.pictures else 0


@dataclass(frozen=True)
class Played:
    """What a session in the window left: its exit code, its pictures, what it wrote, its log and what in it is an error."""

    code: int
    pictures: list[Path]
    out: Path
    log: str
    trouble: list[str]


def play(
    zip_path: Path,
    place: Callable[[Path], str],
    wanted: Callable[[], dict[str, object]],
    *,
    size: str = "1400x1800",
    rebuild: bool = False,
    seconds: int = 1800,
) -> Played:
    """Run the driver in the window's Blender with the add-on installed.

    place: puts a job into a folder and returns its sheet's name; wanted: what the driver is to do, asked for after that.
    """
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or not shutil.which("apt-get"):
        raise TaskError("Window pictures need Debian and root: a Blender is put into a folder of its own and run there")
    root = _window(rebuild=rebuild)
    shots = root / "shots"
    shutil.rmtree(shots, ignore_errors=True)
    for name in ("out", "home", "job"):
        (shots / name).mkdir(parents=True)
    for name in ("scans", "pictures"):  # short paths, fit to be photographed: window.sh lays the job and the pictures there
        if (root / name).is_symlink():
            (root / name).unlink()
        (root / name).mkdir(exist_ok=True)
    (shots / "out" / "pictures").mkdir()
    shutil.copy(zip_path, shots / "ext.zip")
    for name in DRIVERS:
        shutil.copy(HERE / name, shots / name)
    sheet = place(shots / "job")
    (shots / "wanted.json").write_text(json.dumps({"sheet": sheet} | wanted()), encoding="utf-8")
    code = subprocess.run(["bash", str(HERE / "window.sh"), "shot", str(root), size, str(seconds)], check=False).returncode
    log = shots / "log.txt"
    words = log.read_text(encoding="utf-8", errors="replace") if log.exists() else ""
    trouble = [line for line in words.splitlines() if TROUBLE.search(line)]
    return Played(code, sorted((shots / "out").glob("*.png")), shots / "out", words, trouble)


def _window(*, rebuild: bool) -> Path:
    """The folder with the window's Blender, built beside its place and renamed."""
    root = envs.cache_folder() / "windows" / SUITE
    if rebuild:
        shutil.rmtree(root, ignore_errors=True)
    if root.exists():
        return root
    if not shutil.which("debootstrap"):
        debian.install(["debootstrap"], why="debootstrap")
    root.parent.mkdir(parents=True, exist_ok=True)
    making = Path(tempfile.mkdtemp(prefix=f".{SUITE}-", dir=root.parent))
    making.chmod(0o755)
    print("Fetching a Blender with a window (about 1.1 GB, a minute or two) ...", flush=True)
    try:
        subprocess.run(["bash", str(HERE / "window.sh"), "build", SUITE, str(making)], check=True)
        making.rename(root)
    except subprocess.CalledProcessError as error:
        raise TaskError(f"The window's Blender can't be built here (window.sh ended with {error.returncode})") from None
    finally:
        shutil.rmtree(making, ignore_errors=True)
    return root


def _job(folder: Path, sheet: Path | None) -> str:
    """Put a sheet and what lies beside it into a folder, or the host tests' small scan; returns the sheet's name."""
    if sheet is not None:
        if not sheet.is_file():
            raise TaskError(f'There is no job sheet "{sheet}"')
        for path in sheet.resolve().parent.iterdir():
            if path.is_file():
                shutil.copy(path, folder)
        return sheet.name
    return small_job(folder)


def small_job(folder: Path) -> str:
    """The host tests' small scan with its sheet, put into a folder; returns the sheet's name."""
    python = envs.blender(envs.default_version(), "host")
    code = (
        "import sys; from pathlib import Path; from tests.host.small_scan import QUICK_SHEET, write_knob; "
        "folder = Path(sys.argv[1]); write_knob(folder); (folder / 'knob.toml').write_text(QUICK_SHEET)"
    )
    subprocess.run([str(python), "-c", code, str(folder)], cwd=ROOT, check=True)
    return "knob.toml"


def _tile(folder: Path) -> dict[str, object]:
    """A figure on a square patterned tile, dusted, and the bare tile scanned again, a quarter turned and in another unit.

    Returns what the driver needs: three spots on both scans, in their own coordinates, and how high it is to paint.
    """
    python = envs.blender(envs.default_version(), "host")
    code = (
        "import sys; from pathlib import Path; from scripts.truth.pieces.tile import write_tile; write_tile(Path(sys.argv[1]))"
    )
    subprocess.run([str(python), "-c", code, str(folder)], cwd=ROOT, check=True)
    spots = ((-27.0, -27.0, 9.0), (27.0, -26.0, 9.0), (-26.0, 27.0, 9.0))
    return {"pairs": [[spot, [-0.1 * spot[1], 0.1 * spot[0], 0.1 * spot[2]]] for spot in spots], "level_mm": 14.0}
