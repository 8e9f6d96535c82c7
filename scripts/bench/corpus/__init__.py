"""Does every bad file end in a result or in one clear sentence? Thousands of spoilt scans and sheets, run one after another.

`cases`: how many were run; `failures`: those with another exception than ours, a traceback or anything else printed, a crash,
more than 20 s, an input changed, a half file or data left behind; `worst_seconds`: the longest. `--cases flipped,cut` runs
some classes, `--piece 2/8` an eighth of them, `--fast` every twelfth case. What failed is printed with its number:
`--cases number:1234` runs that one again.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from .. import Options, Record
from .driver import run_cases
from .sheets import COUNT, numbers_of


def run(record: Record, options: Options) -> None:
    """All cases that were asked for."""
    numbers = _wanted(options)
    answers = run_cases(numbers, report=_report)
    bad = [answer for answer in answers if answer["failures"]]
    for answer in bad:
        print(f"\nnumber:{answer['number']} {answer['kind']}\n" + "\n".join(answer["failures"]), flush=True)
    worst = max(answers, key=lambda answer: answer["seconds"])
    outcomes = Counter(f"{answer['kind']}: {answer['outcome']}" for answer in answers)
    print("\n" + "\n".join(f"{name:40} {count:5}" for name, count in sorted(outcomes.items())))
    whole = len(numbers) == COUNT
    record.add("cases", len(answers), goal=">= 2000" if whole else "")
    record.add("failures", len(bad), goal="== 0")
    record.add("worst_seconds", worst["seconds"], unit="s", goal="<= 20")
    record.add("mean_seconds", sum(answer["seconds"] for answer in answers) / len(answers), unit="s")
    record.add("refused_percent", 100.0 * sum(answer["outcome"] == "refused" for answer in answers) / len(answers), unit="%")
    print(f"the longest was number:{worst['number']} {worst['kind']}: {worst['words'][:100]}")


def _wanted(options: Options) -> list[int]:
    """The numbers of the cases: by `number:N`, by class, or all, or this piece of them; every twelfth for a fast run."""
    single = [int(name.split(":")[1]) for name in options.cases if name.startswith("number:")]
    if single:
        return single
    numbers = [number for name, own in numbers_of().items() if options.wants(name) for number in own]
    return options.share(numbers[::12] if options.fast else numbers)


def _report(answer: dict[str, Any]) -> None:
    if answer["failures"] or answer["number"] % 100 == 0:
        mark = "FAILED" if answer["failures"] else "ok"
        print(
            f"{answer['number']:6} {mark:7} {answer['kind']:18} {answer['seconds']:6.2f} s  {answer['words'][:90]}", flush=True
        )
