"""`build.py package`: makes the extension's zip by Blender's own builder and validator, with a checksum beside it."""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import tempfile
import zipfile
from pathlib import Path

from . import PACKAGE, ROOT, TaskError, envs

ALLOWED = {".py", ".toml", ".npz", ".json", ".md", ".txt", ".png", ".svg"}


def package(folder: Path = ROOT / "dist") -> Path:
    """Build the zip into `folder` and return its path; raises TaskError when Blender's validator or ours refuses it."""
    version = envs.default_version()
    python = envs.blender(version)
    tool = next(python.parents[1].rglob("bl_pkg/cli/blender_ext.py"), None)
    if tool is None:
        raise TaskError(f"The wheel of Blender {version} lacks its extension builder")
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder) as making:
        tags = Path(making) / "tags.json"
        tags.write_text(json.dumps({"add-on": sorted(_valid_tags(python)), "theme": []}), encoding="utf-8")
        built = Path(making) / f"bozzetto-{release()}.zip"
        _call(python, tool, "build", f"--source-dir={PACKAGE}", f"--output-filepath={built}", f"--valid-tags={tags}")
        _call(python, tool, "validate", f"--valid-tags={tags}", str(built))
        check_content(built)
        target = folder / built.name
        built.replace(target)
    digest = hashlib.sha256(target.read_bytes()).hexdigest()
    target.with_suffix(".zip.sha256").write_text(f"{digest}  {target.name}\n", encoding="ascii")
    return target


def release() -> str:
    """The version that the manifest states."""
    found = re.search(r'^version = "([^"]+)"', (PACKAGE / "blender_manifest.toml").read_text(encoding="utf-8"), re.M)
    if not found:
        raise TaskError("blender_manifest.toml states no version")
    return found[1]


def _valid_tags(python: Path) -> list[str]:
    """The tags that Blender knows, from its own list."""
    code = (
        "import json, runpy, sys; from pathlib import Path; "
        "path = next(Path(sys.argv[1]).rglob('_bpy_internal/extensions/tags.py')); "
        "print(json.dumps(sorted(runpy.run_path(str(path))['addons'])))"
    )
    done = subprocess.run([str(python), "-c", code, str(python.parents[1])], capture_output=True, text=True, check=True)
    return list(json.loads(done.stdout))


def _call(python: Path, tool: Path, *arguments: str) -> None:
    done = subprocess.run([str(python), str(tool), *arguments], capture_output=True, text=True, check=False)
    words = (done.stdout + done.stderr).strip()
    if done.returncode or re.search(r"^(error|fatal_error)\b", words, re.I | re.M):
        raise TaskError(f"Blender's {arguments[0]} refuses the package:\n{words}")


def check_content(path: Path) -> None:
    """Raise TaskError when the zip holds anything that is not part of the package, or lacks a module of it."""
    with zipfile.ZipFile(path) as pack:
        names = {name for name in pack.namelist() if not name.endswith("/")}
    strange = sorted(n for n in names if Path(n).suffix not in ALLOWED or "__pycache__" in n or n.startswith(("tests/", ".")))
    if strange:
        raise TaskError(f"The zip holds what does not belong in it: {', '.join(strange[:5])}")
    modules = {p.relative_to(PACKAGE).as_posix() for p in PACKAGE.rglob("*.py") if "__pycache__" not in p.parts}
    lacking = sorted((modules | {"blender_manifest.toml"}) - names)
    if lacking:
        raise TaskError(f"The zip lacks {', '.join(lacking[:5])}")
