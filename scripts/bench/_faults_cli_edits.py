"""Does what a person changed by hand survive when the job is run again by the command line over its .blend?"""

from __future__ import annotations

from . import Options, Record, _faults_edits


def run(record: Record, options: Options) -> None:
    """The edits of `_faults_edits`, by the command."""
    _faults_edits.run(record, options, by_command=True)
