"""How are benches started? `python3 build.py bench [NAME ...] [--fast] [--cases A,B] [--keep] [--piece 1/3] [--out DIR]`."""

from __future__ import annotations

import argparse
import importlib
import pkgutil
import sys
import time
import traceback
from pathlib import Path

import scripts.bench as frame


def benches() -> list[str]:
    """The names of all benches: modules and folders beside this file, without those that several benches use."""
    return sorted(m.name for m in pkgutil.iter_modules(frame.__path__) if not m.name.startswith("_"))


def main(argv: list[str] | None = None) -> int:
    """Run the named benches, all when none is named; 0 when each value kept its limit and nothing broke."""
    known = benches()
    parser = argparse.ArgumentParser(prog="build.py bench", description=f"Benches: {', '.join(known)}")
    parser.add_argument("names", nargs="*", metavar="NAME", help="which benches; all when none is named")
    parser.add_argument("--fast", action="store_true", help="a short run to see that it works; its figures don't count")
    parser.add_argument("--cases", default="", help="only these cases, separated by commas")
    parser.add_argument("--keep", action="store_true", help="keep the rows of earlier runs that this one does not measure")
    parser.add_argument(
        "--piece", type=_piece, default=(1, 1), metavar="1/3", help="this piece of a long list, where there is one"
    )
    parser.add_argument("--out", type=Path, default=Path("out/bench"))
    options, rest = parser.parse_known_args(argv)
    unknown = [name for name in options.names if name not in known]
    if unknown:
        parser.error(f"there is no bench {', '.join(unknown)}; there are {', '.join(known)}")
    cases = tuple(filter(None, options.cases.split(",")))
    codes = []
    for name in options.names or known:
        folder = options.out / name
        path = options.out / f"{name}.json"
        kept = frame.read_rows(path) if options.keep else []
        codes.append(_run(name, frame.Options(folder, options.fast, cases, tuple(rest), options.piece), path, kept))
    return max(codes, default=0)


def _piece(words: str) -> tuple[int, int]:
    """'2/7' as (2, 7)."""
    number, _, pieces = words.partition("/")
    if not (number.isdigit() and pieces.isdigit() and 1 <= int(number) <= int(pieces)):
        raise argparse.ArgumentTypeError(f'a piece reads like "2/7", not "{words}"')
    return int(number), int(pieces)


def _run(name: str, options: frame.Options, path: Path, kept: list[frame.Row]) -> int:
    print(f"bench {name}", flush=True)
    options.out.mkdir(parents=True, exist_ok=True)
    record = frame.Record(name, kept=kept)
    path.unlink(missing_ok=True)  # an old table must not pass for a new one
    start = time.perf_counter()
    try:
        importlib.import_module(f"scripts.bench.{name}").run(record, options)
    except Exception:
        record.fail(traceback.format_exc())
    if not record.rows:
        record.fail("nothing was measured")
    measured = {(row.metric, row.case) for row in record.rows}
    record.rows[:0] = [row for row in kept if (row.metric, row.case) not in measured]
    record.write(path)
    print(f"\n{frame.table(record.rows)}\n\n{path}  ({time.perf_counter() - start:.0f} s)", flush=True)
    missed = record.missed()
    for words in record.failures:
        print(f"FAILED {words.strip().splitlines()[-1]}")
    for row in missed:
        print(f"MISSED {row.metric} {row.case} {row.value:.4g}, asked {row.floor or row.goal}")
    return 1 if missed or record.failures else 0


if __name__ == "__main__":
    sys.exit(main())
