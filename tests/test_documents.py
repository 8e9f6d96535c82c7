"""Is what README, DEVELOPERS and CHANGELOG name there: commands and their options, settings, files, pictures, benches?"""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path

import pytest

import build
from blender_addon.cli import _parser
from blender_addon.job.settings import specs
from blender_addon.job.sheet import blank, override, parse
from blender_addon.job.step import FOLDERS
from blender_addon.steps import catalogue
from scripts.bench.__main__ import benches
from scripts.tasks import ROOT

TEXTS = {name: (ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")}
WHOLE = "\n".join(TEXTS.values())
COMMANDS = sorted(set(re.findall(r"(?:build\.py|--command bozzetto) ([^`#|\n]*)", WHOLE)))
ASSIGNED = sorted({words for words in re.findall(r"\b(\w+\.\w+=[\w.-]+)", WHOLE) if words.split(".")[0] not in ("http", "tcp")})
OF_JOB = ("run", "series", "new", "steps", "photos")
SAMPLES = {"N": "7", "SHEET...": "sheet.toml"}
"""What stands for the words in capitals where the parser wants a number, or where dots say that there may be several."""


@pytest.mark.parametrize("words", COMMANDS)
def test_each_command_is_understood(words: str) -> None:
    """The job's by the parser itself; of the others the command, and each option by its name in the code that takes it."""
    command, *rest = shlex.split(re.sub(r"[\[\]]|\.\.\.(?=\])", "", words))
    assert command in build.COMMANDS
    if command in OF_JOB:
        _parser().parse_args([command, *(SAMPLES.get(word, word) for word in rest)])
        return
    code = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "scripts").rglob("*.py"))
    assert [word for word in rest if word.startswith("--") and f'"{word}"' not in code] == []


@pytest.mark.parametrize("words", ASSIGNED)
def test_each_assignment_to_a_setting_is_taken(words: str) -> None:
    override(blank(catalogue()), words)


def test_each_setting_in_backquotes_is_there() -> None:
    """`step.field`; what is no step's name in front of the dot is not a setting."""
    fields = {step.name: specs(step.settings) for step in catalogue()}
    named = re.findall(r"`(\w+)\.(\w+)(?:=[^`]*)?`", WHOLE)
    files = {"py", "txt", "json", "toml", "html", "md", "csv", "npz"}
    missing = [f"{step}.{name}" for step, name in named if step in fields and name not in files and name not in fields[step]]
    assert missing == [] and any(step in fields for step, _ in named)


def test_each_sheet_in_the_readme_is_read() -> None:
    sheets = re.findall(r"```toml\n(.*?)```", TEXTS["README.md"], re.DOTALL)
    assert len(sheets) == 3
    for text in sheets:
        parse(text if "bozzetto = 1" in text else f"bozzetto = 1\n{text}", catalogue(), name="owl", folder=ROOT)


def test_each_picture_and_file_is_there() -> None:
    """What is linked stands in the repository; a bare name of a module or script is one's somewhere in it."""
    for text in TEXTS.values():
        assert [link for link in re.findall(r"\]\(([^)#:]+)\)", text) if not (ROOT / link).is_file()] == []
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout.split()
    listed = listed or [path.as_posix() for path in ROOT.rglob("*") if path.is_file()]
    examples = re.findall(r"```python\n# (?:one line of KINDS in )?(\S+)\n", TEXTS["DEVELOPERS.md"])
    there = {Path(path).name for path in (*listed, *examples)}
    named = re.findall(r"`(?:[\w./]*/)?(\w+\.(?:py|npz))(?::[^`]*)?`", WHOLE)
    assert named and [name for name in named if name not in there] == []


def test_each_bench_is_there() -> None:
    named = set(re.findall(r"(?:`|build\.py )bench ([a-z_]+)", WHOLE))
    assert named and named - set(benches()) == set()


def test_the_panels_are_named_as_in_the_tab() -> None:
    """`*Scan > Orientation*`: a folder of steps, and a step's label in it."""
    labels = {(step.folder, step.label) for step in catalogue()}
    named = re.findall(r"\*(\w+) > ([^*]+)\*", TEXTS["README.md"])
    named = [(folder.lower(), label) for folder, label in named if folder.lower() in FOLDERS]
    assert named and [pair for pair in named if pair not in labels] == []
