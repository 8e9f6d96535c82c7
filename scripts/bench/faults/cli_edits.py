"""Does what a person changed by hand survive when the job is run again by the command line over its .blend?"""

from __future__ import annotations

from .. import Options, Record
from . import edits


def run(record: Record, options: Options) -> None:
    """The edits of `edits.py`, by the command."""
    edits.run(record, options, by_command=True)
