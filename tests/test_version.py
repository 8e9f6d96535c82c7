"""Is one version said everywhere, and is it one that can be tagged?"""

from __future__ import annotations

import re
import tomllib

from scripts.tasks import PACKAGE, ROOT


def test_manifest_changelog_and_readme_say_the_same_version() -> None:
    """Versions follow Semantic Versioning 2.0.0; the changelog's newest entry is the one that the manifest packs."""
    manifest = tomllib.loads((PACKAGE / "blender_manifest.toml").read_text(encoding="utf-8"))
    version = manifest["version"]
    assert re.fullmatch(r"\d+\.\d+\.\d+", version)
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (.+)$", changelog, re.M)[0].split(" ")[0] == version
    zips = re.findall(r"bozzetto-(\d+\.\d+\.\d+)\.zip", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert zips and set(zips) == {version}
