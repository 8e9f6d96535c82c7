"""Is anything lost when a job is edited, copied, interrupted or killed? One part a kind of fault; `--cases edits` runs one.

`edits` are what a person may change by hand in a finished job, each of which must be there after another run; `scenes` are
states of the user's own scene; `kills` fall at random moments of every step.
"""

from __future__ import annotations

import importlib

from . import Options, Record

PARTS = ("edits", "scenes", "kills")
"""The kinds of fault; each is a module `_faults_NAME` with `run(record, options)`."""


def run(record: Record, options: Options) -> None:
    """All kinds, or those that are named."""
    for part in PARTS:
        if options.wants(part):
            importlib.import_module(f"scripts.bench._faults_{part}").run(record, options)
