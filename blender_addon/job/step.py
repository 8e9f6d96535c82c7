"""What is a step? `Settings`, the roles it needs and makes, and `run`; here they become one `Step`.

They stand in one module, or, where the work needs much of the package, in two: `<folder>/declared/<name>.py` says what
Blender's start must know, and `<folder>/<name>.py` is the work, imported when the step is first run.

A step gives:

    LABEL = "Orientation"             # the words on screen
    NEEDS = ("clean",)                # roles that must exist
    USES = ("albedo",)                # roles that are taken into account when they exist
    MAKES = ("upright",)              # roles that it makes
    READS = ("render.size",)          # if given: settings of later steps that it reads, too
    COST = 1.0                        # about how many seconds it takes on two cores, for the time left
    class Settings: ...               # see job/settings.py
    def cost(settings): ...           # if given: the same where it depends on the settings
    def able(sheet, out): ...         # if given: raises JobError, before the first step is begun, for what can't succeed
    def run(stage, settings): ...     # a generator: yields Progress, returns Result

and its module docstring's first line (the declared one's, where there are two) is the step's one-line help.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Generator, Sequence
from dataclasses import field
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

from ..core.records import record
from .decisions import Decision

if TYPE_CHECKING:
    from .sheet import JobSheet

FOLDERS = ("scan", "surface", "shots", "dressing", "delivery")
"""The five folders of steps: the five panels, and the order of the work."""

DECLARED = "declared"
"""The part of each folder that Blender's start imports, where a step's work lies in a module of its own."""

RENAMED = {"delighting": "albedo"}
"""From former names of steps to today's: sheets, calls and .blend files that use the former names are read."""

MOVED = {"export.watermark": "render.watermark"}
"""Settings that moved to another step: from the former `step.field` to today's."""


def current_name(name: str) -> str:
    """Today's name of a step that a sheet, a call or a .blend file of any release names."""
    return RENAMED.get(name, name)


@record
class Progress:
    """How far a step is: fraction 0 to 1, and what it is doing. `blocking` announces a call that can't be split; `left`: the
    seconds that the step will still take, where known; `stays`: the words should remain visible."""

    fraction: float
    words: str
    blocking: bool = False
    left: float | None = None
    stays: bool = False


@record
class Result:
    """What a step did: one sentence for a person, figures for a table and for tests (plain numbers, texts, lists), and what
    it decided by itself."""

    words: str
    figures: dict[str, object] = field(default_factory=dict)
    decisions: tuple[Decision, ...] = ()


Run = Generator[Progress, None, Result]


@record
class Step:
    """A step of the job, made from its module."""

    name: str
    folder: str
    label: str
    help: str
    settings: type
    needs: tuple[str, ...]
    uses: tuple[str, ...]
    makes: tuple[str, ...]
    run: Callable[[Any, Any], Run]
    cost: float = 1.0
    cost_by: Callable[[object], float] | None = None
    able: Callable[[JobSheet, Path | None], None] | None = None
    work: Callable[[], ModuleType] = partial(ModuleType, "")  # its module, for what a button takes from it besides `run`
    reads: tuple[str, ...] = ()

    def cost_with(self, settings: object) -> float:
        """About how many seconds it takes with these settings, on two cores."""
        return self.cost if self.cost_by is None else self.cost_by(settings)


def from_module(module: ModuleType) -> Step:
    """The step that a module of one of the five folders describes, its declared part or its work; the work is imported when it
    is needed."""
    place = module.__name__.replace(f".{DECLARED}.", ".")
    package, folder, name = place.rsplit(".", 2)
    if folder not in FOLDERS:
        raise ValueError(f"{module.__name__} lies in none of the step folders {FOLDERS}")
    if not hasattr(module, "LABEL"):
        module = importlib.import_module(f"{package}.{folder}.{DECLARED}.{name}")

    def work() -> ModuleType:
        return importlib.import_module(place)

    help_line = (module.__doc__ or "").strip().splitlines()[0]
    return Step(
        name=name,
        folder=folder,
        label=module.LABEL,
        help=help_line,
        settings=module.Settings,
        needs=tuple(module.NEEDS),
        uses=tuple(getattr(module, "USES", ())),
        makes=tuple(module.MAKES),
        run=lambda *given: work().run(*given),
        cost=float(getattr(module, "COST", 1.0)),
        cost_by=lambda settings: float(getattr(work(), "cost", lambda _: getattr(module, "COST", 1.0))(settings)),
        able=lambda *given: getattr(work(), "able", _anything)(*given),
        work=work,
        reads=tuple(getattr(module, "READS", ())),
    )


def _anything(sheet: JobSheet, out: Path | None) -> None:
    """What a step without `able` says beforehand: nothing stands against it."""


def ordered(steps: Sequence[Step]) -> tuple[Step, ...]:
    """The steps so that each comes after the makers of what it needs or uses; ties keep folder order, then name.

    Raises ValueError when the roles form a circle or two steps make one role.
    """
    makers: dict[str, Step] = {}
    for step in steps:
        for role in step.makes:
            if role in makers:
                raise ValueError(f"role {role} is made by {makers[role].name} and by {step.name}")
            makers[role] = step
    for step in steps:
        for role in step.needs:
            if role not in makers:
                raise ValueError(f"no step makes the role {role} that {step.name} needs")
    waiting = sorted(steps, key=lambda step: (FOLDERS.index(step.folder), step.name))
    done: list[Step] = []
    while waiting:
        for step in waiting:
            before = {makers[role].name for role in (*step.needs, *step.uses) if role in makers} - {step.name}
            if before <= {ready.name for ready in done}:
                done.append(step)
                waiting.remove(step)
                break
        else:
            raise ValueError(f"the roles of {', '.join(step.name for step in waiting)} form a circle")
    return tuple(done)


def maker(role: str, steps: Sequence[Step]) -> Step:
    """The step that makes a role: how panels and operators find a step, whose names they do not know."""
    return next(step for step in steps if role in step.makes)


def upstream(step: Step, steps: Sequence[Step]) -> tuple[Step, ...]:
    """The steps whose roles `step` needs or uses."""
    roles = set(step.needs) | set(step.uses)
    return tuple(other for other in steps if other is not step and roles & set(other.makes))
