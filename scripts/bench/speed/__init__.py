"""How fast, how large, and how does it grow? Ours against the yardstick in the same run, threads stated.

`blur40_over_opencv`, `dog_over_opencv`: a blur of 40 texels, and the difference of one of 2 and one of 40, at 4 K, one thread
each.
`components_over_scipy` at 3.6 M triangles, one thread each. `intake_over_import`: our intake over Blender's importer alone.
`registration_over_open3d`, `debris_over_open3d`: see the benches of those names. `growth_*`: slope of log time over log size
(1 is proportional). `enable_ms`: the add-on imported and registered at a start of Blender, its modules compiled by an earlier
one, as Python keeps them; `first_enable_ms`: where they are not, after an install. `peak_mb_big`: the most memory from intake
to material of 3.6 M triangles with an 8 K texture, without light that can be read and (`lit`) sharp and lit;
`memory_a_triangle`: what of it intake and cleanup take, beside the estimate that refuses a scan; `lit_finest_mm`: the finest
relief that was read of the lit one.

This module imports nothing of the add-on at its top: its processes load it before they time how the add-on is imported.

A peer that is missing is a failure; `build.py bench speed` brings them. `--date YYYY-MM-DD` writes the table to
assets_demo/bench.md, with `--keep` what earlier runs measured too.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import json
import os
import platform
import subprocess
import sys
import tempfile
from typing import Any

from .. import ROOT, Options, Record, median_ratio

TABLE = ROOT / "assets_demo" / "bench.md"
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"), "1")
"""Environment variables that hold every library to one thread."""
PEERS = ("bpy", "numpy", "opencv-python-headless", "scipy", "open3d")


def run(record: Record, options: Options) -> None:
    """All rows that were asked for; `--fast` at a tenth of the size."""
    parts = {
        "blurs": _blurs, "components": _components, "growth": _growth, "enable": _enable, "intake": _intake,
        "registration": _registration, "debris": _debris, "memory": _memory, "lit-memory": _memory_lit,
    }  # fmt: skip
    for name, part in parts.items():
        if options.wants(name):
            try:
                part(record, options)
            except (ImportError, OSError, subprocess.CalledProcessError, KeyError, ValueError) as error:
                words = getattr(error, "stderr", "") or str(error)
                record.fail(f"{name}: {words.strip()[-400:]}")
    date = next((word.split("=", 1)[1] for word in options.rest if word.startswith("--date=")), "")
    if "--date" in options.rest:
        date = options.rest[options.rest.index("--date") + 1]
    if date:
        TABLE.write_text(_table(record, date), encoding="utf-8")
        print(f"wrote {TABLE}")


def _child(module: str, *words: Any, threads: bool = False, compiled: str = "") -> dict[str, Any]:
    """What a part prints as JSON in its last line, from a process of its own; one thread unless `threads`.

    compiled: a folder in which Python keeps compiled modules.
    """
    variables = dict(os.environ) if threads else {**os.environ, **ONE_THREAD}
    if compiled:
        variables.pop("PYTHONDONTWRITEBYTECODE", None)
        variables["PYTHONPYCACHEPREFIX"] = compiled
    done = subprocess.run(
        [sys.executable, "-m", f"scripts.bench.speed.{module}", *map(str, words)],
        cwd=ROOT, env=variables, capture_output=True, text=True, check=True,
    )  # fmt: skip
    lines = done.stdout.strip().splitlines()
    print("\n".join(line for line in lines[:-1] if line.startswith("  ")), flush=True)
    return json.loads(lines[-1])


def _yardstick(peer: str, times: Any, threads: str = "1 thread each") -> str:
    """Words for the yardstick: who, how long, with how many threads."""
    return f"{peer} {times[2]:.3g} s, ours {times[1]:.3g} s, {threads}"


def _blurs(record: Record, options: Options) -> None:
    found = _child("kernels", "blurs", 1024 if options.fast else 4096)
    case = "1K" if options.fast else "4K"
    record.add(
        "blur40_over_opencv", found["blur"][0], case=case, yardstick=_yardstick(found["peer"], found["blur"]), goal=">= 15"
    )
    record.add("dog_over_opencv", found["dog"][0], case=case, yardstick=_yardstick(found["peer"], found["dog"]), goal=">= 6")
    record.add("dog_rms_percent", found["rms_percent"], case="2K", unit="%", yardstick="SciPy, out to 7 sigmas", goal="<= 0.2")


def _components(record: Record, options: Options) -> None:
    count = 360_000 if options.fast else 3_600_000
    found = _child("kernels", "parts", count)
    if not found["same"]:
        record.fail("components: scipy finds another number of them")
    record.add("components_over_scipy", found["parts"][0], case=f"{count / 1e6:.2g} M",
               yardstick=_yardstick(found["peer"], found["parts"]), goal=">= 1.4")  # fmt: skip


def _growth(record: Record, options: Options) -> None:
    most = 400_000 if options.fast else 4_000_000
    found = _child("kernels", "growth_triangles", most)
    for name, slope in found["slopes"].items():
        seconds = found["seconds"][name]
        yardstick = (
            f"{seconds[0]:.3g} s at {found['sizes'][0] / 1e6:.2g} M, {seconds[-1]:.3g} s at {found['sizes'][-1] / 1e6:.2g} M"
        )
        record.add("growth_triangles", slope, case=name, yardstick=yardstick, goal="<= 1.1" if name == "all" else "")
    edge = 2048 if options.fast else 8192
    grown = _child("kernels", "growth_texels", edge)
    yardstick = f"{grown['seconds'][0]:.3g} s at {grown['edges'][0]}, {grown['seconds'][-1]:.3g} s at {grown['edges'][-1]}"
    record.add("growth_texels", grown["slope"], case="band pass", yardstick=yardstick, goal="<= 1.1")


def _enable(record: Record, options: Options) -> None:
    with tempfile.TemporaryDirectory() as kept:
        first, *later = (_child("blender", "enable", compiled=kept)["ms"] for _ in range(2 if options.fast else 6))
    times = sorted(later)
    record.add("first_enable_ms", first, unit="ms")
    record.add("enable_ms", times[len(times) // 2], unit="ms", goal="<= 150")


def _intake(record: Record, options: Options) -> None:
    count = 50_000 if options.fast else 500_000
    folder = options.out.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    for name, found in _child("blender", "intake", folder, count, threads=True).items():
        yardstick = (
            f"Blender's importer {found['theirs']:.3g} s, ours {found['ours']:.3g} s, {os.cpu_count()} threads; "
            f"by the processors' time {found['spent']:.3g}"
        )
        record.add("intake_over_import", found["ratio"], case=f"{name} {count / 1e6:.2g} M", yardstick=yardstick, goal="<= 1.3")


def _registration(record: Record, options: Options) -> None:
    bench = importlib.import_module("scripts.bench.registration")
    importlib.import_module("open3d")
    shapes = dict(list(bench._all_shapes())[: 2 if options.fast else None])
    ratios = []
    for name, subject in shapes.items():
        pair = bench._pair(subject, name, 0)
        ratios.append(median_ratio(lambda pair=pair: bench._ours(pair, 1), lambda pair=pair: bench._open3d(pair), repeats=1))
    ratios.sort()
    middle = ratios[len(ratios) // 2]
    threads = f"{os.environ.get('OMP_NUM_THREADS', os.cpu_count())} threads"
    record.add("registration_over_open3d", middle[0], case=f"{len(ratios)} subjects",
               yardstick=_yardstick(f"Open3D {_version('open3d')}", middle, threads), goal=">= 5")  # fmt: skip


def _debris(record: Record, options: Options) -> None:
    from scripts.bench._poisson_points import poisson_points

    bench = importlib.import_module("scripts.bench.debris")
    o3d = importlib.import_module("open3d")
    vertices, faces = bench._table_mesh()
    count = 10_000 if options.fast else 100_000
    mesh = o3d.geometry.TriangleMesh(o3d.utility.Vector3dVector(vertices), o3d.utility.Vector3iVector(faces.astype("int32")))
    times = median_ratio(
        lambda: poisson_points(vertices, faces, count, seed=3), lambda: mesh.sample_points_poisson_disk(count), repeats=3
    )
    threads = f"its {os.environ.get('OMP_NUM_THREADS', os.cpu_count())} threads to our 1"
    record.add("debris_over_open3d", times[0], case=f"{count // 1000} k points",
               yardstick=_yardstick(f"Open3D {_version('open3d')}", times, threads), goal=">= 3")  # fmt: skip


def _memory(record: Record, options: Options) -> None:
    from blender_addon.core.memory import BYTES_A_TRIANGLE

    found, case = _most_memory(record, options, "")
    triangles = 1e6 * float(case.split()[0])
    own = 1e6 * (max(found["peaks"][name] for name in ("intake", "cleanup")) - found["before"]) / triangles
    record.add("memory_a_triangle", own, case=case, unit="bytes", yardstick=BYTES_A_TRIANGLE,
               goal="" if options.fast else f"<= {BYTES_A_TRIANGLE:g}")  # fmt: skip


def _memory_lit(record: Record, options: Options) -> None:
    """The same with a texture in which relief is read, at its full size too: some ten minutes."""
    found, case = _most_memory(record, options, "lit")
    record.add("lit_finest_mm", found["finest"], case=case, unit="mm")
    if not found["finer_kept"]:
        record.fail("lit-memory: the full texture was not read, so that the memory it takes was not measured")


def _most_memory(record: Record, options: Options, texture: str) -> tuple[dict[str, Any], str]:
    """Add the most memory that a large scan takes; returns what was found and the case. texture: as `blender.memory` has it."""
    triangles, size = (360_000, 2048) if options.fast else (3_600_000, 8192)
    folder = options.out.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    found = _child("blender", "memory", folder, triangles, size, texture, threads=True)
    worst = max(found["peaks"], key=lambda name: found["peaks"][name])
    case = f"{triangles / 1e6:.2g} M, {size // 1024} K{f', {texture}' if texture else ''}"
    record.add("peak_mb_big", found["peaks"][worst], case=case, unit="MB",
               yardstick=f"in {worst}; {found['seconds']:.0f} s in all", goal="<= 8192")  # fmt: skip
    return found, case


def _table(record: Record, date: str) -> str:
    """The rows as a page, with the date that was given and the versions that were measured."""
    measured = {(row.metric, row.case) for row in record.rows}
    kept = [row for row in record.kept if (row.metric, row.case) not in measured]
    versions = [f"{name} {_version(name)}" for name in PEERS]
    lines = [
        "# What `python3 build.py bench speed --oracle` measured",
        "",
        f"{date}, Python {platform.python_version()} on {platform.machine()}, {os.cpu_count()} cores; {', '.join(versions)}.",
        "",
        "| metric | case | value | unit | yardstick | goal |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| `{row.metric}` | {row.case} | {row.value:.4g} | {row.unit} | "
        f"{'' if row.yardstick is None else row.yardstick} | {row.goal} |"
        for row in [*kept, *record.rows]
    ]
    missing = [f"- {words}" for words in record.failures]
    return "\n".join([*lines, *(["", "Not measured:", "", *missing] if missing else [])]) + "\n"


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "missing"
