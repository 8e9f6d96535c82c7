"""Is anything lost when a job is edited, copied, interrupted or killed? One part a kind of fault; `--cases edits` runs one.

`edits` are what a person may change by hand in a finished job, each of which must be there after another run, in the window and
by the command; `scenes` are states of the user's own scene; `full_disks` fill up in the middle of each kind of file, in
`room` in the middle of a whole run, which goes on when there is room again; `kills` fall at random moments of
every step. The parts are long: `--keep --piece 2/7` tries the second seventh of one, and the counts
of the whole are added up once all pieces are there.
"""

from __future__ import annotations

import importlib

from .. import Options, Record

PARTS = ("edits", "cli_edits", "scenes", "full_disks", "room", "kills")
"""The kinds of fault; each is a module of its name with `run(record, options)`."""


def run(record: Record, options: Options) -> None:
    """All kinds, or those that are named."""
    for part in PARTS:
        if options.wants(part):
            importlib.import_module(f"{__package__}.{part}").run(record, options)


def tell(record: Record, options: Options, metrics: tuple[str, str], counts: tuple[int, int], *, least: int) -> None:
    """Add what was tried and what went well, under two metrics; of a piece, and of the whole once all its pieces are known.

    least: how many the whole must try.
    """
    number, pieces = options.piece
    sums = [float(count) for count in counts]
    if pieces > 1:
        _add(record, metrics, sums, case=f"{number}/{pieces}")
        known = {(row.metric, row.case): row.value for row in (*record.kept, *record.rows)}
        wanted = [(metric, f"{place}/{pieces}") for metric in metrics for place in range(1, pieces + 1)]
        if not all(place in known for place in wanted):
            return
        sums = [sum(known[place] for place in wanted if place[0] == metric) for metric in metrics]
    _add(record, metrics, sums, floor="" if options.fast else f">= {least}")


def _add(record: Record, metrics: tuple[str, str], counts: list[float], *, case: str = "", floor: str = "") -> None:
    tried, well = counts
    record.add(metrics[0], tried, case=case, floor=floor)
    record.add(metrics[1], well, case=case, yardstick=tried, goal=f"== {tried:g}")
