"""Does the list of photos say all that the page says, and no heading without a sentence?"""

from __future__ import annotations

from blender_addon.core.photos.photo_set import SetReport
from blender_addon.job.pages.photo_page import photo_list, photo_page


def test_a_section_is_there_only_with_its_sentences() -> None:
    report = SetReport((), ("Few photos show the left side",), ())
    text, page = photo_list("Owl", report), photo_page("Owl", report, {})
    for words in ("The set", "Few photos show the left side"):
        assert words in text and words in page
    assert "What could not be judged" not in text and "What could not be judged" not in page
    assert "Other files" not in text
