"""Does the tool decide rightly on pieces that nobody here has seen, and does it ask where it can't know?

Runs on the labelled scans of the folder in BOZZETTO_SCANS (by default `out/scans`; a folder that is
missing is a failure) and on made-up figures. One module a kind of decision, `KIND.py`: its `parts(record, options)`
need none of one another and run in as many processes as there are processors (`--processes N`: as many as that); its
`report(record, results)` makes the rows. Groups, given as `case`: `scans/file` as exported, `scans/axes` exported with
the other up axis, `scans/turned` three random rotations, scales and places each, `made/file` and `made/turned` the same of the
made-up figures; no weight was fitted on these, but they were looked at while scales and limits of the front were chosen. What
happened to a single scan has a metric that begins with `case_`. `--cases scans/turned` runs one group alone, `--cases relief`
and `--cases pictures` those kinds.
"""

from __future__ import annotations

import importlib
import time
from collections import defaultdict
from typing import Any

from .. import Options, Record
from .._processes import processes, results

KINDS = ("relief", "up", "split", "pictures")
"""The longest parts first."""


def run(record: Record, options: Options) -> None:
    """Every kind of decision."""
    modules = {kind: importlib.import_module(f"{__package__}.{kind}") for kind in KINDS}
    start = time.perf_counter()
    parts = [part for module in modules.values() for part in module.parts(record, options)]
    found: dict[str, list[Any]] = defaultdict(list)
    for part, result, wrong in results(parts, processes(options)):
        if wrong:
            record.fail(f"{part.kind} {part.given}: {wrong}")
        else:
            found[part.kind].append(result)
        done = sum(map(len, found.values()))
        print(f"  {done} of {len(parts)} parts after {time.perf_counter() - start:.0f} s", flush=True)
    for kind, module in modules.items():
        if found[kind]:
            module.report(record, found[kind])
    record.add("minutes", (time.perf_counter() - start) / 60.0, case="all" if not options.cases else "some", goal="<= 30")
