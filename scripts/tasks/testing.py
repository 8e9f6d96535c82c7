"""How is the suite run? One process a test module (two at a time), then the host tests on each other Blender.

One process a module, because a process that imported several libraries beside bpy hung at its exit once, and because what
one module leaves in Blender must not reach the next. Modules that need no Blender share a process, some of a folder at a time.
"""

from __future__ import annotations

import argparse
import concurrent.futures
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from . import ROOT, TaskError, debian, envs, linting, packaging, pythons

TESTS = ROOT / "tests"
MODULE_SECONDS = 900
LONGEST, LONG = (
    ("test_cleanup", "test_orientation", "test_one_click", "test_separation", "test_registration"),
    ("steps", "host"),
)
"""The modules, and the folders, that take longest: they begin first, so that no long one is left running alone at the end."""
HANG_SECONDS = 30
BUNDLE = 6
"""Modules of a folder that need no Blender and run in one process: most take less time than a process takes to start."""
PROGRAMS = {"node": "nodejs", "exiftool": "libimage-exiftool-perl", "chromium": "chromium"}
"""Programs of the system that tests judge by, and Debian's packages of them. A run of CI installs what is missing."""
EXCUSED = r"this Blender|Windows|named pipes|only Linux|not a git checkout"
"""Reasons to skip a test that hold in CI, too: what this build of Blender or this operating system does not have at all. Every
other skip in CI is a failure, but for what the run tried to bring and could not reach; that is said at the end."""
UNREACHED = r"could not fetch|did not arrive|comes through it"
"""What `scripts.real_scans` says of data that a registry did not give."""
WITHOUT_BLENDER = ("core", "job")
"""The folders of tests that need numpy alone; beside them, modules that import no Blender."""
NEEDS_BLENDER = re.compile(
    r"^\s*(?:from|import)\s+(?:bpy|bmesh|mathutils|blender_addon\.(?:scene|steps|ui|cli))|importorskip\(.bpy|empty_scene", re.M
)
"""Also in `tests/conftest.py`, which leaves out the same."""


@dataclass(frozen=True)
class Outcome:
    """What one test module did."""

    name: str
    passed: int
    failed: int
    skipped: int
    seconds: float
    words: str = ""


def main(arguments: Sequence[str]) -> int:
    """The whole of it; 0 when nothing failed. The last line reads 'N passed, N failed, N skipped'."""
    options, more = _parser().parse_known_args(arguments)
    start = time.monotonic()
    outcomes: list[Outcome] = []
    left_out: list[str] = []
    if in_ci():
        left_out += _bring_programs()
    whole = not options.paths and not more
    if whole:
        outcomes.append(_lint(left_out))
    try:
        version = options.blender or envs.default_version()
        python = envs.blender(version, *_sets(options))
    except TaskError as error:
        left_out.append(f"everything that needs Blender: {error}")
        outcomes += _without_blender(options, more, left_out)
        return _summary(outcomes, left_out, start)
    if options.all is False:
        left_out.append("tests marked oracle (heavy independent programs): --all runs them")
    outcomes += _run_modules(python, _modules(options.paths), options, more, label=version)
    if whole:
        outcomes += _other_versions(version, options, left_out)
    return _summary(outcomes, left_out, start)


def _bring_programs() -> list[str]:
    """Install the programs that are missing; a sentence of each that can't be had here."""
    missing = [program for program in PROGRAMS if not shutil.which(program)]
    if missing:
        try:
            debian.install([PROGRAMS[program] for program in missing], why=f"what tests judge by: {', '.join(missing)}")
        except TaskError as error:
            print(error, flush=True)
    return [f"what {program} judges: it can't be installed here" for program in missing if not shutil.which(program)]


def _sets(options: argparse.Namespace) -> list[str]:
    """The requirement sets that the chosen modules need: the host tests alone get by with the least."""
    if options.paths and all(Path(path).parts[:2] == ("tests", "host") for path in options.paths):
        return ["host"]
    return ["host", "test", "unpack", "farm", *(["oracle"] if options.all else [])]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="build.py test", description="Other options go to pytest (-k WORD, -x ...).")
    parser.add_argument("paths", nargs="*", help="test modules or folders; all, lint and the other Blenders when none is named")
    parser.add_argument("--all", action="store_true", help="also the tests marked oracle")
    parser.add_argument("--fast", action="store_true", help="without the tests marked slow or data")
    parser.add_argument("--blender", metavar="X.Y.Z", help="on this release instead of the default")
    parser.add_argument("--workers", type=int, default=int(os.environ.get("BOZZETTO_WORKERS", "2")))
    return parser


def _lint(left_out: list[str]) -> Outcome:
    start = time.monotonic()
    try:
        code = linting.main([])
    except envs.EnvironmentMissing as error:
        if in_ci():
            return Outcome("lint", 0, 1, 0, time.monotonic() - start, str(error))
        left_out.append(f"lint: {error}")
        return Outcome("lint", 0, 0, 1, time.monotonic() - start, str(error))
    return Outcome("lint", int(code == 0), int(code != 0), 0, time.monotonic() - start)


def _without_blender(options: argparse.Namespace, more: Sequence[str], left_out: list[str]) -> list[Outcome]:
    """The tests of `core` and `job` on whatever Python there is."""
    try:
        python = envs.plain("core", "core", "host", "test")
    except envs.EnvironmentMissing as error:
        left_out.append(f"the peers that core is measured against: {error}")
        python = envs.plain("core", "core", "host")
    modules = _modules(options.paths)
    able = [module for module in modules if _needs_no_blender(module)]
    left_out.append(
        f"{len(modules) - len(able)} test modules that need Blender; run were {len(able)} of core, job and the like"
    )
    outcomes = _run_modules(python, able, options, more, label="no Blender")
    if in_ci() and pythons.find(envs.VERSIONS[envs.DEFAULTS[0]]):
        outcomes.append(Outcome("Blender", 0, 1, 0, 0.0, "an installed Python was left without its Blender"))
    return outcomes


def _needs_no_blender(module: Path) -> bool:
    folder = module.relative_to(TESTS).parts[0]
    if folder in WITHOUT_BLENDER:
        return True
    return folder != "host" and not NEEDS_BLENDER.search(module.read_text(encoding="utf-8"))


def _other_versions(done: str, options: argparse.Namespace, left_out: list[str]) -> list[Outcome]:
    """The host tests on each other release that an installed Python can run; in CI one left out is a failure."""
    outcomes = []
    for version, wanted in envs.VERSIONS.items():
        if version == done:
            continue
        python = pythons.find(wanted)
        try:
            if python is None:
                raise envs.EnvironmentMissing(f"Python {wanted} is not installed here, or does not run")
            inside = envs.blender(version, "host")
        except TaskError as error:
            left_out.append(f"Blender {version}: {error}")
            if in_ci() and python is not None:
                outcomes.append(Outcome(f"Blender {version}", 0, 1, 0, 0.0, f"an installed Python was skipped: {error}"))
            continue
        outcomes += _run_modules(inside, _modules(["tests/host"]), options, [], label=version)
    return outcomes


def _modules(paths: Sequence[str]) -> list[Path]:
    found: list[Path] = []
    for name in paths or ["tests"]:
        path = (ROOT / name.split("::")[0]).resolve() if not Path(name).is_absolute() else Path(name)
        if not path.exists():
            raise TaskError(f"There is no {name}")
        found += sorted(path.rglob("test_*.py")) if path.is_dir() else [path]
    return sorted(found, key=lambda module: (module.stem not in LONGEST, set(LONG).isdisjoint(module.parts), module))


def _run_modules(
    python: Path, modules: Sequence[Path], options: argparse.Namespace, more: Sequence[str], *, label: str
) -> list[Outcome]:
    """Run modules in their processes, `workers` at a time; print a line of each as its process ends."""
    if not modules:
        return []
    zip_path = _zip_for(modules)
    print(
        f"\nBlender {label}: {len(modules)} test modules" if label != "no Blender" else f"\n{len(modules)} modules", flush=True
    )
    outcomes = []
    with concurrent.futures.ThreadPoolExecutor(max_workers=max(1, options.workers)) as pool:
        bundles = _bundles(modules) if not more else [[module] for module in modules]
        work = [pool.submit(_run_bundle, python, bundle, options, more, zip_path, label) for bundle in bundles]
        for outcome in (outcome for future in concurrent.futures.as_completed(work) for outcome in future.result()):
            outcomes.append(outcome)
            mark = "FAILED" if outcome.failed else "ok"
            print(
                f"{mark:7}{outcome.name:58} {outcome.passed:4} passed {outcome.failed:3} failed {outcome.skipped:3} skipped "
                f"{outcome.seconds:6.1f} s",
                flush=True,
            )
            if outcome.failed:
                print(outcome.words, flush=True)
    return outcomes


def _bundles(modules: Sequence[Path]) -> list[list[Path]]:
    """The modules of each process, in the order given: one that needs Blender, or is among the longest, alone."""
    bundles: list[list[Path]] = []
    open_ones: dict[Path, list[Path]] = {}
    for module in modules:
        alone = module.stem in LONGEST or not module.is_relative_to(TESTS) or not _needs_no_blender(module)
        bundle = open_ones.get(module.parent)
        if alone or bundle is None or len(bundle) == BUNDLE:
            bundle = []
            bundles.append(bundle)
            if not alone:
                open_ones[module.parent] = bundle
        bundle.append(module)
    return bundles


def _zip_for(modules: Sequence[Path]) -> str:
    """The built zip, where a host test is among the modules; its absence is then said by the tests."""
    if not any("host" in module.parts for module in modules):
        return ""
    try:
        return str(packaging.package())
    except TaskError as error:
        print(error, flush=True)
        return ""


def _run_bundle(
    python: Path, modules: Sequence[Path], options: argparse.Namespace, more: Sequence[str], zip_path: str, label: str
) -> list[Outcome]:
    """Run modules in one process; an outcome of each. Where it ends before its summary, or with an error that is no test's,
    each runs again by itself, so that the one at fault hides no other's result."""
    marks = [*([] if options.all else ["not oracle"]), *(["not slow and not data"] if options.fast else [])]
    start = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="bozzetto-test-", ignore_cleanup_errors=True) as folder:
        table = Path(folder) / "outcome.xml"
        command = [
            str(python), "-m", "pytest", *map(str, modules), "-q", "-p", "no:cacheprovider", f"--junitxml={table}",
            "-o", "junit_family=xunit1", f"--basetemp={folder}/tmp", *(["-m", " and ".join(marks)] if marks else []), *more,
        ]  # fmt: skip
        words, code = _call(command, _environment(folder, zip_path, options.workers), table)
        cases = _cases(table)
    names = [module.relative_to(ROOT).as_posix() if module.is_relative_to(ROOT) else module.name for module in modules]
    found = {name: [case for case in cases if case.get("file") == name or len(names) == 1] for name in names}
    failures = sum(_counts(own)[1] for own in found.values())
    explained = code in (0, 5) or (code == 1 and failures)
    if len(names) > 1 and not (explained and sum(map(len, found.values())) == len(cases)):
        return [outcome for module in modules for outcome in _run_bundle(python, [module], options, more, zip_path, label)]
    if not explained and not failures:  # one module, alone
        words = f"{words}\n{names[0]} ended with code {code} before its summary"
    shared = (time.monotonic() - start - _seconds(cases)) / len(names)  # starting, importing, leaving
    outcomes = []
    for name, own in found.items():
        passed, failed, skipped = _counts(own)
        title = name if label == envs.DEFAULTS[0] else f"{name} [{label}]"
        failed = failed if explained else max(failed, 1)
        outcomes.append(Outcome(title, passed, failed, skipped, _seconds(own) + shared, words))
    return outcomes


def _environment(folder: str, zip_path: str, workers: int) -> dict[str, str]:
    """A throw-away Blender profile, the zip for host tests, and as many threads for numpy's products as a module has cores:
    more of them wait for each other by spinning, which took a quarter of all time where two modules shared two cores."""
    resources = Path(folder) / "profile"
    (resources / "extensions").mkdir(parents=True)
    environment = {
        **os.environ, "BLENDER_USER_RESOURCES": str(resources), "BLENDER_USER_EXTENSIONS": str(resources / "extensions"),
        "PYTHONDONTWRITEBYTECODE": "1", "BOZZETTO_ZIP": zip_path,
    }  # fmt: skip
    environment.setdefault("OMP_NUM_THREADS", str(max(1, (os.cpu_count() or 1) // max(1, workers))))
    environment.pop("PYTHONPATH", None)
    return environment


def _call(command: list[str], environment: dict[str, str], table: Path) -> tuple[str, int]:
    """Run one process to its end. One that has written its outcome but can't leave is ended, which is no failure."""
    with tempfile.TemporaryFile("w+", errors="replace") as log:
        work = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=log, stderr=subprocess.STDOUT)
        start, finished = time.monotonic(), None
        code = None
        try:
            while (code := work.poll()) is None:
                time.sleep(0.1)
                now = time.monotonic()
                if finished is None and table.exists() and table.stat().st_size:
                    finished = now
                if finished is not None and now - finished > HANG_SECONDS:
                    work.kill()
                    code = 0
                    break
                if now - start > MODULE_SECONDS:
                    work.kill()
                    code = 124
                    break
        finally:
            if work.poll() is None:
                work.kill()
            work.wait()
        log.seek(0)
        return "\n".join(log.read().splitlines()[-200:]), code


def _cases(table: Path) -> list[ElementTree.Element]:
    """The tests in a table of outcomes; none where it was not written to its end."""
    try:
        return list(ElementTree.parse(table).getroot().iter("testcase"))
    except (OSError, ElementTree.ParseError):
        return []


def _seconds(cases: Sequence[ElementTree.Element]) -> float:
    return sum(float(case.get("time") or 0.0) for case in cases)


def _counts(cases: Sequence[ElementTree.Element]) -> tuple[int, int, int]:
    """Passed, failed and skipped of these tests. In CI a skipped test has failed, unless its reason is `EXCUSED`."""
    failed = sum(case.find("failure") is not None or case.find("error") is not None for case in cases)
    reasons = [case.find("skipped").get("message") or "" for case in cases if case.find("skipped") is not None]
    skipped = len(reasons)
    if in_ci():
        absent = [program for program in PROGRAMS if not shutil.which(program)]
        excused = re.compile("|".join([EXCUSED, UNREACHED, *absent]), re.IGNORECASE)
        lacking = sum(not excused.search(reason) for reason in reasons)
        failed, skipped = failed + lacking, skipped - lacking
    return len(cases) - failed - skipped, failed, skipped


def in_ci() -> bool:
    """Whether this is a run of CI, where what could have run must have run."""
    return os.environ.get("CI", "").lower() in ("1", "true", "yes")


def _summary(outcomes: Sequence[Outcome], left_out: Sequence[str], start: float) -> int:
    print(f"\n{shutil.get_terminal_size((80, 20)).columns * '-'}")
    slowest = sorted(outcomes, key=lambda outcome: -outcome.seconds)[:5]
    print("Slowest: " + ", ".join(f"{outcome.name} {outcome.seconds:.0f} s" for outcome in slowest))
    for outcome in outcomes:
        if outcome.failed:
            print(f"FAILED {outcome.name}: {outcome.words.strip().splitlines()[-1] if outcome.words.strip() else 'see above'}")
    for words in left_out:
        print(f"Left out: {words}")
    print(f"{time.monotonic() - start:.0f} s")
    passed, failed, skipped = (sum(getattr(o, key) for o in outcomes) for key in ("passed", "failed", "skipped"))
    sys.stdout.flush()
    print(f"{passed} passed, {failed} failed, {skipped} skipped", flush=True)
    return 1 if failed or not passed else 0
