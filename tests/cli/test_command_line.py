"""What is typed wrong is said as shells expect it: the usage, code 2, and no trace of Python."""

from __future__ import annotations

import pytest

from blender_addon.cli import main


@pytest.mark.parametrize("words", [[], ["paintt"], ["run"], ["run", "a.toml", "--place", "first"]])
def test_a_command_that_is_none_shows_the_usage(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    said = capsys.readouterr().err
    assert said.startswith("usage: bozzetto") and "Traceback" not in said


@pytest.mark.parametrize("count", ["0", "257", "two", "-1", "1.5"])
def test_a_wrong_number_of_workers_is_said_with_the_right_ones(count: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["run", "a.toml", "--workers", count]) == 2
    assert f'"{count}" is no whole number from 1 to 256' in capsys.readouterr().err
