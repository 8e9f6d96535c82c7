"""Does the tool decide rightly on pieces that nobody here has seen, and does it ask where it can't know?

Runs on the labelled scans of the folder in BOZZETTO_SCANS (by itself `out/scans`; a folder that is
missing is a failure) and on made-up figures. One module a kind of decision, `_decisions_KIND.py` with `run(record, options)`,
one after the other. Groups, given as `case`: `scans/file` as exported, `scans/axes` exported with
the other up axis, `scans/turned` three chance rotations, scales and places each, `made/file` and `made/turned` the same of the
made-up figures, none of which was used while constants were set. What happened to a single scan has a metric that begins with
`case_`. `--cases scans/turned` runs one group alone,
`--cases relief` and `--cases pictures` those kinds.
"""

from __future__ import annotations

import importlib
import traceback

from . import Options, Record

KINDS = ("up", "split", "close", "pictures", "relief")


def run(record: Record, options: Options) -> None:
    """Every kind of decision."""
    for kind in KINDS:
        try:
            importlib.import_module(f"{__package__}._decisions_{kind}").run(record, options)
        except Exception:  # the other kinds are still to be measured
            record.fail(f"{kind}: {traceback.format_exc()}")
