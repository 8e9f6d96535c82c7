"""Is it as good as promised? One module a bench, each `run(record, options)`; this frame prints, writes and judges.

A bench is `scripts/bench/NAME.py`, or a folder of that name where it has modules of its own; what several use begins with `_`:

    \"\"\"What does it measure?\"\"\"
    from . import Options, Record, median_seconds

    def run(record: Record, options: Options) -> None:
        record.add("rms_mm", 0.031, case="owl", unit="mm", yardstick=0.04, goal="<= 0.05")
        record.add("success_percent", 99.0, unit="%", floor=">= 95", goal=">= 98")

`python3 build.py bench NAME [--cases A,B] [--fast] [--piece 1/3]` runs it, prints a table and writes `out/bench/NAME.json`: a
list of flat records {metric, case, value, unit, yardstick, goal}. It is measured afresh each time; with `--keep`, a long bench
can be run in parts, and what the parts before measured stays in the table. `goal` is what we are after; where a worse value
still passes, `floor` says so; a value past its floor (or, with no floor, past its goal) makes the exit code not 0, and so does
one that is not finite. Errors are magnitudes; `_percent` and `_cut` run from 0 to 100; times and ratios are medians of 5,
of 3 where one takes more than 10 s, of 1 where more than 25.
"""

from __future__ import annotations

import json
import math
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

ROOT = Path(__file__).resolve().parents[2]
Thing = TypeVar("Thing")


@dataclass(frozen=True)
class Options:
    """What a bench was asked: where its pictures go, a short run, only some cases, what else stood on the command line, and
    which piece of how many of a long list."""

    out: Path
    fast: bool = False
    cases: tuple[str, ...] = ()
    rest: tuple[str, ...] = ()
    piece: tuple[int, int] = (1, 1)

    def wants(self, case: str) -> bool:
        """Whether a case is to be run: all are when none was named; a name also stands for what begins with it."""
        return not self.cases or any(case == name or case.startswith(name) for name in self.cases)

    def share(self, things: Sequence[Thing]) -> list[Thing]:
        """Those of a list that this piece is to try: all but for `--piece`; each piece gets some of every part of the list."""
        number, pieces = self.piece
        return list(things[number - 1 :: pieces])


@dataclass(frozen=True)
class Row:
    """One measured value. `goal` and `floor` are text such as '<= 0.05', '>= 98' or '== 0', or ''."""

    metric: str
    value: float
    case: str = ""
    unit: str = ""
    yardstick: float | str | None = None
    goal: str = ""
    floor: str = ""

    def missed(self) -> bool:
        """Whether the value fails: not finite, or past its floor (its goal where it has no floor)."""
        if not math.isfinite(self.value):
            return True
        limit = self.floor or self.goal
        return bool(limit) and not holds(self.value, limit)

    def flat(self) -> dict[str, Any]:
        """The record as it is written; a value that is not finite becomes null, which JSON can hold."""
        value = self.value if math.isfinite(self.value) else None
        record = {
            "metric": self.metric, "case": self.case, "value": value, "unit": self.unit, "yardstick": self.yardstick,
            "goal": self.goal,
        }  # fmt: skip
        return record | ({"floor": self.floor} if self.floor else {})


def read_rows(path: Path) -> list[Row]:
    """The rows of an earlier table; none where there is no table."""
    if not path.is_file():
        return []
    rows = json.loads(path.read_text(encoding="utf-8"))
    return [Row(**row | {"value": math.nan if row["value"] is None else row["value"]}) for row in rows]


@dataclass
class Record:
    """Collects the values of one bench and prints each as it comes."""

    name: str
    rows: list[Row] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)
    kept: list[Row] = field(default_factory=list)
    """Rows of earlier runs, with `--keep`."""

    def add(
        self, metric: str, value: float, *, case: str = "", unit: str = "", yardstick: float | str | None = None,
        goal: str = "", floor: str = "",
    ) -> float:  # fmt: skip
        """Keep one value and return it. A wrong `goal` or `floor` text is an error here, not at the end."""
        for limit in (goal, floor):
            if limit:
                holds(0.0, limit)
        row = Row(metric, float(value), case, unit, yardstick, goal, floor)
        self.rows.append(row)
        print(_line(row), flush=True)
        return row.value

    def fail(self, words: str) -> None:
        """Note that something which is not a figure went wrong; the bench then ends with an exit code that is not 0."""
        self.failures.append(words)
        print(f"FAILED {words}", flush=True)

    def missed(self) -> list[Row]:
        """The rows that fail."""
        return [row for row in self.rows if row.missed()]

    def write(self, path: Path) -> None:
        """Write the flat records, whole or not at all."""
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_suffix(".part")
        beside.write_text(json.dumps([row.flat() for row in self.rows], indent=1, allow_nan=False) + "\n", encoding="utf-8")
        beside.replace(path)


def holds(value: float, limit: str) -> bool:
    """Whether `value` keeps a limit such as '<= 0.05', '>= 98', '< 1', '> 0' or '== 0'."""
    sign, _, number = limit.strip().partition(" ")
    bound = float(number)
    checks: dict[str, Callable[[float, float], bool]] = {
        "<=": lambda a, b: a <= b, ">=": lambda a, b: a >= b, "<": lambda a, b: a < b, ">": lambda a, b: a > b,
        "==": lambda a, b: a == b,
    }  # fmt: skip
    if sign not in checks:
        raise ValueError(f'A limit reads like "<= 0.05", not "{limit}"')
    return checks[sign](value, bound)


def median_seconds(work: Callable[[], Any], *, repeats: int = 5, warm: bool = True) -> float:
    """Median wall-clock seconds of `work()` over `repeats` runs, after one uncounted run when `warm`."""
    if warm:
        work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def median_ratio(ours: Callable[[], Any], peer: Callable[[], Any], *, repeats: int = 5) -> tuple[float, float, float]:
    """(median of peer over ours, median seconds of ours, of the peer), the two timed in turns so that load hits both."""
    ours()
    peer()
    pairs = []
    for _ in range(repeats):
        pairs.append((median_seconds(ours, repeats=1, warm=False), median_seconds(peer, repeats=1, warm=False)))
    mine, theirs = zip(*pairs, strict=True)
    return statistics.median(b / a for a, b in pairs), statistics.median(mine), statistics.median(theirs)


def peak_mb() -> float:
    """The most memory this process has held so far, in MB (resident; Linux counts in kB, macOS in bytes)."""
    import resource

    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1e6 if sys.platform == "darwin" else 1e3)


def table(rows: list[Row]) -> str:
    """All rows as text in columns."""
    head = f"{'metric':28} {'case':26} {'value':>12} {'unit':6} {'yardstick':>12}  {'goal':10} {'floor':10}"
    return "\n".join([head, "-" * len(head), *(_line(row) for row in rows)])


def _line(row: Row) -> str:
    yard = f"{row.yardstick:.4g}" if isinstance(row.yardstick, (int, float)) else (row.yardstick or "")
    mark = "  MISSED" if row.missed() else ("  below goal" if row.goal and not holds(row.value, row.goal) else "")
    return f"{row.metric:28} {row.case:26} {row.value:12.4g} {row.unit:6} {yard:>12}  {row.goal:10} {row.floor:10}{mark}"
