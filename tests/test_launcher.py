"""Does the launcher find what really runs, and does it make a half-made environment again?"""

from __future__ import annotations

import sys
import tempfile
import zipfile
from pathlib import Path

import pytest

from scripts.tasks import TaskError, debian, envs, packaging, pythons, testing

HERE = "%d.%d" % sys.version_info[:2]  # noqa: UP031  as the launcher says it


def program(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return path


def test_a_shim_that_answers_command_not_found_does_not_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """pyenv's shim of a version that is not selected exits with 127; the version itself lies in its folder."""
    program(tmp_path / "shims" / "python9.9", "echo 'python9.9: command not found' >&2; exit 127")
    real = program(tmp_path / "pyenv" / "versions" / "9.9.1" / "bin" / "python9.9", "echo 9.9")
    monkeypatch.setenv("PATH", f"{tmp_path / 'shims'}")
    monkeypatch.setenv("PYENV_ROOT", str(tmp_path / "pyenv"))
    assert pythons.find("9.9") == real


def test_a_named_python_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mine = program(tmp_path / "mine", "echo 9.8")
    monkeypatch.setenv("BOZZETTO_PYTHON", str(mine))
    assert pythons.find("9.8") == mine


def test_one_that_prints_another_version_does_not_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program(tmp_path / "python9.7", "echo 3.11")
    monkeypatch.setenv("PATH", str(tmp_path))
    assert pythons.find("9.7") is None


def test_a_half_made_environment_is_made_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One without its stamp, one with an old stamp; a whole one is left alone."""
    monkeypatch.setenv("BOZZETTO_ENVS", str(tmp_path))
    monkeypatch.setattr(envs, "REQUIREMENTS", tmp_path / "pins")
    (tmp_path / "pins").mkdir()
    (tmp_path / "pins" / "none.txt").write_text("# nothing\n")
    monkeypatch.setattr(envs, "_pip", lambda *_: None)
    folder = tmp_path / f"trial-{HERE}"
    folder.mkdir()
    (folder / "half").write_text("")
    python = envs.plain("trial", "none", wanted=(HERE,))
    assert pythons.version.__wrapped__(str(python)) == HERE
    assert not (folder / "half").exists()
    (folder / "kept").write_text("")
    envs.plain("trial", "none", wanted=(HERE,))
    assert (folder / "kept").exists()
    (tmp_path / "pins" / "none.txt").write_text("# another pin\n")
    envs.plain("trial", "none", wanted=(HERE,))
    assert not (folder / "kept").exists()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith((".trial-", ".old-")) and path.is_dir()] == []


def test_a_version_that_is_not_supported_is_refused() -> None:
    with pytest.raises(TaskError, match=r"5\.2\.3"):
        envs.blender("2.79.0")


def test_missing_libraries_are_named_where_they_can_not_be_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(debian.os, "geteuid", lambda: 1000)
    monkeypatch.setattr(debian.shutil, "which", lambda _: "/usr/bin/apt-get")
    with pytest.raises(TaskError, match="sudo apt-get install libgl1"):
        debian.install(["libgl1"], why="a library")


@pytest.mark.parametrize("name", ["tests/test_x.py", "core/__pycache__/mesh.pyc", "notes.blend", ".hidden.py"])
def test_a_zip_with_what_does_not_belong_is_refused(name: str, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as pack:
        pack.writestr(name, "")
    with pytest.raises(TaskError, match="does not belong"):
        packaging.check_content(tmp_path / "x.zip")


def test_a_zip_without_a_module_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as pack:
        pack.writestr("blender_manifest.toml", "")
    with pytest.raises(TaskError, match="lacks"):
        packaging.check_content(tmp_path / "x.zip")


def test_an_installed_python_left_out_fails_in_ci_only(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: str) -> Path:
        raise envs.EnvironmentMissing("no wheel")

    monkeypatch.setattr(envs, "blender", refuse)
    monkeypatch.setattr(pythons, "find", lambda wanted: Path("/usr/bin/python3") if wanted == "3.11" else None)
    monkeypatch.setattr(envs, "VERSIONS", {"5.2.3": "3.13", "4.5.15": "3.11"})
    for ci, failed in (("", 0), ("true", 1)):
        monkeypatch.setenv("CI", ci)
        left_out: list[str] = []
        outcomes = testing._other_versions("none", testing._parser().parse_args([]), left_out)
        assert sum(outcome.failed for outcome in outcomes) == failed
        assert len(left_out) == 2


def test_a_skip_fails_in_ci_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Packages and programs that a test needs must be there; what this Blender or this system does not have excuses it."""
    reasons = ("could not import 'scipy': No module named 'scipy'", "exiftool is not installed here", "this Blender has no USD")
    cases = 3 * '<testcase name="t"/>'
    cases += "".join(f'<testcase name="t"><skipped message="{reason}"/></testcase>' for reason in reasons)
    (tmp_path / "t.xml").write_text(f'<testsuites><testsuite tests="6" skipped="3">{cases}</testsuite></testsuites>')
    for ci, counts in (("", (3, 0, 3)), ("true", (3, 2, 1))):
        monkeypatch.setenv("CI", ci)
        assert testing._counts(testing._cases(tmp_path / "t.xml")) == counts


def test_ci_installs_the_programs_that_are_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[list[str]] = []
    monkeypatch.setattr(testing.shutil, "which", lambda program: None if program == "node" else f"/usr/bin/{program}")
    monkeypatch.setattr(debian, "install", lambda packages, why: asked.append(list(packages)))
    testing._bring_programs()
    assert asked == [["nodejs"]]


@pytest.mark.parametrize(("ci", "counts"), [("", (3, 2, 2)), ("true", (3, 4, 0))])
def test_outcomes_are_counted_from_the_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ci: str, counts: tuple[int, int, int]
) -> None:
    """A skip without a reason that holds in CI has failed there."""
    monkeypatch.setenv("CI", ci)
    ends = ("", "", "", "<failure/>", "<error/>", "<skipped/>", "<skipped/>")
    cases = "".join(f'<testcase name="t">{end}</testcase>' for end in ends)
    (tmp_path / "t.xml").write_text(f"<testsuites><testsuite>{cases}</testsuite></testsuites>")
    assert testing._counts(testing._cases(tmp_path / "t.xml")) == counts
    assert testing._counts(testing._cases(tmp_path / "none.xml")) == (0, 0, 0)


def test_a_module_that_dies_is_a_failure(tmp_path: Path) -> None:
    module = tmp_path / "test_dies.py"
    module.write_text("import os\n\ndef test_x():\n    os._exit(9)\n")
    (outcome,) = together(module)
    assert (outcome.passed, outcome.failed) == (0, 1)


def together(*modules: Path) -> list[testing.Outcome]:
    return testing._run_bundle(Path(sys.executable), modules, testing._parser().parse_args([]), [], "", "5.2.3")


def test_modules_share_a_process_and_each_has_its_own_outcome(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where one ends the process, it alone has failed; a plain failure starts no second run."""
    started: list[list[str]] = []
    call = testing._call
    monkeypatch.setattr(testing, "_call", lambda command, *rest: started.append(command) or call(command, *rest))
    (testing.ROOT / "out").mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=testing.ROOT / "out") as folder:
        texts = {
            "passes": "def test_x():\n    pass\n\ndef test_y():\n    pass\n", "fails": "def test_x():\n    assert 0\n",
            "dies": "import os\n\ndef test_x():\n    os._exit(9)\n",
        }  # fmt: skip
        paths = {name: Path(folder) / f"test_{name}.py" for name in texts}
        for name, text in texts.items():
            paths[name].write_text(text)
        for bad, runs in (("fails", 1), ("dies", 3)):
            started.clear()
            outcomes = together(paths["passes"], paths[bad])
            assert [(outcome.passed, outcome.failed) for outcome in outcomes] == [(2, 0), (0, 1)], bad
            assert [Path(outcome.name).stem for outcome in outcomes] == ["test_passes", f"test_{bad}"]
            assert len(started) == runs, bad


def test_what_needs_blender_or_takes_longest_has_a_process_of_its_own() -> None:
    modules = testing._modules([])
    bundles = testing._bundles(modules)
    assert sorted(module for bundle in bundles for module in bundle) == sorted(modules)
    assert 1 < max(map(len, bundles)) <= testing.BUNDLE
    for bundle in bundles:
        assert len({module.parent for module in bundle}) == 1
        alone = any(module.stem in testing.LONGEST or not testing._needs_no_blender(module) for module in bundle)
        assert not alone or len(bundle) == 1


def test_a_module_that_can_not_leave_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(testing, "HANG_SECONDS", 1)
    module = tmp_path / "test_stays.py"
    module.write_text("import atexit, time\natexit.register(time.sleep, 60)\n\ndef test_x():\n    pass\n")
    (outcome,) = together(module)
    assert (outcome.passed, outcome.failed) == (1, 0)
    assert outcome.seconds < 40
