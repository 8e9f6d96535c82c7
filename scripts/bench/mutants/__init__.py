"""Would the tests notice a fault? Seeded changes of statements that tests run, and what share of them makes a test fail.

`coverage_core_percent`, `coverage_rest_percent`: statements of the package that some test runs, in its own process or in one
that it starts, in the project's folder or in the add-on installed from the zip (`tests/host`).
`mutants`: changed statements, a folder drawn first and then a statement of it, so that no large folder has them all; nobody
picks the places. Of each only the tests that run its line are run, the quickest first, in a copy of the project.
`mutants_killed_percent`: those that a test, or a time limit, noticed.

    bench mutants --cases core/mesh,job    these folders, by the tests in the folders of their names (ui, cli: also host)
    bench mutants --piece 2/10             a tenth of the test modules traced; the changes are tried once all are known
    bench mutants --count 20 --seed 5      so many changes, others than by the usual seed
    bench mutants --workers 8              so many test runs at a time (1)

What a test module runs is kept as long as neither it nor the package changes. Not in the suite: all of it takes the suite's
time twice. Survivors are printed, and written to `survivors.json`; those that no test can tell stand in `left.toml` with the
reason and do not count.
"""

from __future__ import annotations

import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
import zipfile
from collections import defaultdict
from collections.abc import Container
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from queue import Queue

from .. import ROOT, Options, Record
from .changes import changes, statements

PACKAGE = ROOT / "blender_addon"
LEFT = Path(__file__).with_name("left.toml")
PYTEST = (sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider")
COPIED = (PACKAGE.name, "scripts", "tests", "pyproject.toml", "build.py")
"""What starts from its own place to find the package; the rest is linked."""
MODULE_SECONDS = 900
MOST_SECONDS = 90.0
"""Of tests that are run on one change, by the time they took before."""
PATIENCE = 5.0
"""A change that makes tests take so many times as long as before has been noticed: it made something endless."""
HOST = ROOT / "tests" / "host"
HOSTED = ("ui", "cli")
"""The folders of the package whose tests are those of the installed add-on, beside those in folders of their names."""
Lines = dict[str, dict[int, list[str]]]


@dataclass(frozen=True)
class Costs:
    """What tests took when they were traced: seconds of each test itself, and of each shared fixture that it uses."""

    own: dict[str, float]
    shared: dict[str, dict[str, float]]

    def of(self, test: str, paid: Container[str] = ()) -> float:
        """Seconds of a test; what was `paid` for is there already."""
        return self.own.get(test, 0.0) + sum(s for name, s in self.shared.get(test, {}).items() if name not in paid)


@dataclass(frozen=True)
class Mutant:
    """One change: the file within the package, line, what is done, the line's text, the changed file's text, its tests."""

    file: str
    line: int
    words: str
    text: str
    changed: str
    tests: tuple[str, ...]


def run(record: Record, options: Options) -> None:
    """Trace, count what is covered, change and test."""
    tables = options.out / "lines"
    tables.mkdir(parents=True, exist_ok=True)
    os.environ["BOZZETTO_ZIP"] = str(_zipped(PACKAGE, options.out.resolve() / "bozzetto.zip"))
    modules = _modules(options.cases)
    newest = max(path.stat().st_mtime for path in PACKAGE.rglob("*.py"))
    stale = []
    for module in options.share(modules):
        table = tables / f"{_flat(module)}.json"
        if not table.is_file() or table.stat().st_mtime < max(newest, module.stat().st_mtime):
            stale.append((module, table))
    with ThreadPoolExecutor(_workers(options)) as pool:
        for _ in pool.map(lambda pair: _trace(*pair, record), stale):
            pass  # the results are files; an error in a thread is raised here
    known = [module for module in modules if (tables / f"{_flat(module)}.json").is_file()]
    if len(known) < len(modules):
        print(f"  {len(known)} of {len(modules)} test modules are known; the changes are tried when all are", flush=True)
        return
    lines, costs = _merged([tables / f"{_flat(module)}.json" for module in known])
    _coverage(record, lines, options)
    count = int(_word(options, "--count", "5" if options.fast else "100"))
    mutants = _drawn(lines, costs, options.cases, count, seed=int(_word(options, "--seed", "1")))
    _tried(record, options, mutants, costs)


def _word(options: Options, name: str, default: str) -> str:
    return options.rest[options.rest.index(name) + 1] if name in options.rest else default


def _workers(options: Options) -> int:
    return max(1, int(_word(options, "--workers", "1")))


# --- which test runs what ------------------------------------------------------------------------------------------------


def _modules(folders: tuple[str, ...]) -> list[Path]:
    """The test modules; of folders of the package those in the test folders of the same names."""
    found = sorted((ROOT / "tests").rglob("test_*.py"))
    if not folders:
        return found
    places = [ROOT / "tests" / folder for folder in folders]
    places += [HOST] if any(folder.split("/")[0] in HOSTED for folder in folders) else []
    return [path for path in found if any(path.is_relative_to(place) for place in places)]


def _flat(module: Path) -> str:
    return module.relative_to(ROOT / "tests").with_suffix("").as_posix().replace("/", ".")


def _trace(module: Path, table: Path, record: Record) -> None:
    """Run a test module and write which lines each of its tests runs."""
    table.unlink(missing_ok=True)
    environment = {**os.environ, "BOZZETTO_LINES": str(table.resolve())}
    command = [*PYTEST, "-p", "scripts.bench.mutants.lines", "-m", "not oracle and not data", str(module)]
    start = time.monotonic()
    done = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=MODULE_SECONDS, check=False
    )
    print(f"  {_flat(module)}: {time.monotonic() - start:.0f} s", flush=True)
    if done.returncode not in (0, 5):
        record.fail(f"{_flat(module)} fails by itself: {(done.stdout or done.stderr).strip()[-300:]}")


def _merged(tables: list[Path]) -> tuple[Lines, Costs]:
    """What all tables say: file to line to tests that pass, and what the tests cost."""
    lines: Lines = defaultdict(lambda: defaultdict(list))
    costs = Costs({}, {})
    for path in tables:
        table = json.loads(path.read_text(encoding="utf-8"))
        costs.own.update(table["seconds"])
        costs.shared.update(table["shared"])
        failed = set(table["failed"])
        for file, found in table["lines"].items():
            for line, tests in found.items():
                lines[file][int(line)] += [test for test in tests if test not in failed]
    return lines, costs


def _files(folders: tuple[str, ...]) -> list[Path]:
    found = sorted(path for path in PACKAGE.rglob("*.py"))
    return [path for path in found if not folders or any(path.is_relative_to(PACKAGE / folder) for folder in folders)]


def _coverage(record: Record, lines: Lines, options: Options) -> None:
    """Statements in functions that some test runs, of core and of the rest; of some folders only when these were asked for.

    The lines that none runs are written to `uncovered.json`, file by file.
    """
    folders = options.cases
    counts = {"core": [0, 0], "rest": [0, 0]}
    poorest: list[tuple[float, str]] = []
    uncovered: dict[str, list[int]] = {}
    for path in _files(folders):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        wanted = {statement.lineno for statement, _ in statements(tree)}
        name = path.relative_to(PACKAGE).as_posix()
        run_lines = wanted & {line for line, tests in lines.get(name, {}).items() if tests}
        count = counts["core" if name.startswith("core/") else "rest"]
        count[0] += len(run_lines)
        count[1] += len(wanted)
        if wanted - run_lines:
            uncovered[name] = sorted(wanted - run_lines)
        if wanted:
            poorest.append((100.0 * len(run_lines) / len(wanted), name))
    (options.out / "uncovered.json").write_text(json.dumps(uncovered) + "\n", encoding="utf-8")
    for part, goal in (("core", ">= 95"), ("rest", ">= 85")):
        covered, whole = counts[part]
        if whole:
            record.add(f"coverage_{part}_percent", 100.0 * covered / whole, case=",".join(folders), unit="%",
                       yardstick=f"{whole} statements", goal="" if folders else goal)  # fmt: skip
    for percent, name in sorted(poorest)[:8]:
        print(f"  {percent:5.1f} % of {name}", flush=True)


# --- the changes ---------------------------------------------------------------------------------------------------------


def _drawn(lines: Lines, costs: Costs, folders: tuple[str, ...], count: int, *, seed: int) -> list[Mutant]:
    """`count` changes of statements that tests run: a folder, then a file's statement, then one of its changes, by chance."""
    draw = random.Random(seed)
    places: dict[str, list[tuple[Path, int]]] = defaultdict(list)
    for path in _files(folders):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        covered = lines.get(path.relative_to(PACKAGE).as_posix(), {})
        for place, (statement, parent) in enumerate(statements(tree)):
            if any(covered.get(statement.lineno, ())) and changes(statement, parent):
                places[path.parent.relative_to(PACKAGE).as_posix()].append((path, place))
    found: list[Mutant] = []
    taken: set[tuple[Path, int]] = set()
    while len(found) < count and any(places.values()):
        folder = draw.choice(sorted(name for name, rest in places.items() if rest))
        chosen = places[folder].pop(draw.randrange(len(places[folder])))
        if chosen not in taken:
            taken.add(chosen)
            found.append(_changed(*chosen, lines, costs, draw))
    return found


def _changed(path: Path, place: int, lines: Lines, costs: Costs, draw: random.Random) -> Mutant:
    source = path.read_text(encoding="utf-8")
    tree = ast.parse(source)
    statement, parent = list(statements(tree))[place]
    line = statement.lineno
    change = draw.choice(changes(statement, parent))
    change.apply()
    name = path.relative_to(PACKAGE).as_posix()
    tests = sorted({test for test in lines[name][line] if test}, key=lambda test: (costs.of(test), test))
    text = source.splitlines()[line - 1].strip()
    return Mutant(name, line, change.words, text, ast.unparse(ast.fix_missing_locations(tree)), tuple(tests))


def _tried(record: Record, options: Options, mutants: list[Mutant], costs: Costs) -> None:
    """Test each change, and add the counts."""
    left = tomllib.loads(LEFT.read_text(encoding="utf-8")).get("left", [])
    survivors, listed, killed = [], 0, 0
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(_workers(options)) as pool:
        copies: Queue[Path] = Queue()
        for number in range(_workers(options)):
            copies.put(_copied(Path(folder) / str(number)))

        def noticed(mutant: Mutant) -> bool:
            copy = copies.get()
            try:
                return _noticed(copy, mutant, costs)
            finally:
                copies.put(copy)

        for mutant, found in zip(mutants, pool.map(noticed, mutants), strict=True):
            if found:
                killed += 1
            elif any(
                (known["file"], known["text"], known["change"]) == (mutant.file, mutant.text, mutant.words) for known in left
            ):
                listed += 1
            else:
                survivors.append(mutant)
                print(f"  survived: {mutant.file}:{mutant.line} {mutant.words}: {mutant.text}", flush=True)
    survivor_rows = [{name: value for name, value in asdict(survivor).items() if name != "changed"} for survivor in survivors]
    (options.out / "survivors.json").write_text(json.dumps(survivor_rows, indent=1) + "\n", encoding="utf-8")
    case, tried = ",".join(options.cases), len(mutants) - listed
    record.add("mutants", tried, case=case, yardstick=f"{listed} listed", floor="" if options.fast or case else ">= 100")
    if tried:
        record.add("mutants_killed_percent", 100.0 * killed / tried, case=case, unit="%", goal=">= 80")


def _copied(folder: Path) -> Path:
    """The project in another folder, whose package can be changed."""
    folder.mkdir()
    for path in ROOT.iterdir():
        place = folder / path.name
        if path.name in COPIED and path.is_dir():
            shutil.copytree(path, place, ignore=shutil.ignore_patterns("__pycache__"))
        elif path.name in COPIED:
            shutil.copyfile(path, place)
        elif path.name not in (".git", "out", "dist"):
            place.symlink_to(path, target_is_directory=path.is_dir())
    return folder


def _noticed(copy: Path, mutant: Mutant, costs: Costs) -> bool:
    """Whether one of the change's tests fails, or takes far longer than it did."""
    file = copy / PACKAGE.name / mutant.file
    whole = file.read_bytes()
    file.write_text(mutant.changed, encoding="utf-8")
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
    if any(test.startswith("tests/host/") for test in mutant.tests):
        environment["BOZZETTO_ZIP"] = str(_zipped(copy / PACKAGE.name, copy / "changed.zip"))
    try:
        for tests, usual in _chosen(mutant.tests, costs):
            try:
                done = subprocess.run([*PYTEST, "-x", *tests], cwd=copy, env=environment, capture_output=True, check=False,
                                      timeout=60.0 + PATIENCE * usual)  # fmt: skip
            except subprocess.TimeoutExpired:
                return True
            if done.returncode not in (0, 5):
                return True
        return False
    finally:
        file.write_bytes(whole)


def _chosen(tests: tuple[str, ...], costs: Costs) -> list[tuple[list[str], float]]:
    """The tests that are run, by module, with their seconds: in the order given, as many as there is time for."""
    left, paid = MOST_SECONDS, set[str]()
    chosen: dict[str, list[str]] = {}
    usual: dict[str, float] = defaultdict(float)
    for test in tests:
        cost, module = costs.of(test, paid), test.split("::")[0]
        if cost <= left:
            left -= cost
            paid |= costs.shared.get(test, {}).keys()
            chosen.setdefault(module, []).append(test)
            usual[module] += cost
    return [(chosen[module], usual[module]) for module in chosen]


def _zipped(package: Path, target: Path) -> Path:
    """The add-on as a zip that Blender installs, without its builder, which not every machine has."""
    with zipfile.ZipFile(target, "w") as pack:
        for path in sorted(package.rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                pack.write(path, path.relative_to(package))
    return target
