"""The client's page in a real browser (Debian's package chromium): it turns, complains of nothing, asks no network."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import unquote

import pytest

from blender_addon.job.pages.comparing import Compared
from blender_addon.job.pages.page import ClientPage, MakersPage, Shown, client_page, makers_page
from blender_addon.job.pages.turning import Turning
from tests.browser import browser, found

image = pytest.importorskip("PIL.Image")
COUNT = 12
HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>&amp;</title>"


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as a job leaves it, with spaces and signs in its name, its words all hostile."""
    folder = tmp_path_factory.mktemp("job") / "a # b & c"
    for name in ("page", "pictures"):
        (folder / name).mkdir(parents=True)
    for number in range(1, COUNT + 1):
        image.new("RGB", (60, 40), (20 * number, 90, 30)).save(folder / "page" / f"turn_{number:04d}.jpg")
    image.new("RGB", (60, 40), (200, 190, 30)).save(folder / "pictures" / "hero.png")
    shown = [Shown("pictures/hero.png", HOSTILE, HOSTILE, {HOSTILE: HOSTILE})]
    label, files = {HOSTILE: HOSTILE}, [("pictures/hero.png", HOSTILE)]
    (folder / "index.html").write_text(
        client_page(ClientPage(HOSTILE, HOSTILE, shown, Turning(COUNT), "", label, files)), "utf-8"
    )
    (folder / "maker.html").write_text(
        makers_page(MakersPage(HOSTILE, shown, label, [HOSTILE], {HOSTILE: label}, files)), "utf-8"
    )
    pair = Compared(HOSTILE, *["pictures/hero.png"] * 4, (HOSTILE,), HOSTILE, HOSTILE)
    (folder / "compared.html").write_text(makers_page(MakersPage(HOSTILE, shown, compared=[pair])), "utf-8")
    return folder


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory):
    program = found()
    if program is None:
        pytest.skip("there is no Chromium here (Debian: apt-get install chromium), so no page was opened in a browser")
    with browser(program, tmp_path_factory.mktemp("profile")) as opened:
        yield opened


def _now(page) -> int:
    return int(page.value("document.getElementById('turn').getAttribute('aria-valuenow')"))


def _shown(page) -> str:
    return unquote(page.value("document.querySelector('#turn img').src")).rsplit("/", 1)[1]


def test_the_turn_follows_the_pointer(page, pages) -> None:
    page.open(pages / "index.html")
    page.wait("document.querySelector('#turn img').naturalWidth === 60")
    box = page.value(
        "(function () { document.getElementById('turn').scrollIntoView(); var r = document.getElementById('turn')"
        ".getBoundingClientRect(); return [r.left, r.top, r.width]; }())"
    )
    y = box[1] + 30
    assert _now(page) == 1
    page.drag((box[0] + 0.2 * box[2], y), (box[0] + 0.45 * box[2], y))
    assert (_now(page), _shown(page)) == (4, "turn_0004.jpg"), "a quarter of the width is a quarter of a turn"
    page.drag((box[0] + 0.8 * box[2], y), (box[0] + 0.3 * box[2], y))
    assert _now(page) == 10, "half a turn back, past the first view"
    page.drag((box[0] + 0.1 * box[2], y), (box[0] + 0.1 * box[2], y + 200))
    assert _now(page) == 10, "up and down is for scrolling"


def test_the_turn_follows_the_keys(page, pages) -> None:
    page.open(pages / "index.html")
    page.value("document.getElementById('turn').focus()")
    steps = [("ArrowRight", 2), ("ArrowRight", 3), ("ArrowLeft", 2), ("Home", 1), ("ArrowLeft", 12), ("PageUp", 3)]
    for key, number in [*steps, ("End", 12), ("x", 12)]:
        page.key(key)
        assert _now(page) == number, key
    assert page.value("document.querySelector('#turn').getAttribute('aria-valuetext')") == "view 12 of 12"


def test_the_line_between_photo_and_render_follows_pointer_and_slider(page, pages) -> None:
    page.open(pages / "compared.html")
    above, line = "document.querySelectorAll('.wipe img')[1]", "document.querySelector('.wipe + input')"
    page.wait(f"{above}.naturalWidth === 60")
    assert "50%" in page.value(f"getComputedStyle({above}).clipPath")
    page.value(f"({line}.value = 20, {line}.dispatchEvent(new Event('input')), 0)")
    assert "20%" in page.value(f"getComputedStyle({above}).clipPath")
    box = page.value(
        "(function () { var e = document.querySelector('.wipe'); e.scrollIntoView(); var r = e.getBoundingClientRect(); "
        "return [r.left, r.top, r.width]; }())"
    )
    page.drag((box[0] + 0.3 * box[2], box[1] + 20), (box[0] + 0.75 * box[2], box[1] + 20))
    assert "75%" in page.value(f"getComputedStyle({above}).clipPath")


def test_nothing_leaves_the_disk_and_nothing_is_complained_of(page, pages) -> None:
    page.requests.clear()
    page.complaints.clear()
    for name in ("index.html", "maker.html", "compared.html"):
        page.open(pages / name)
        assert page.value("[...document.images].every(picture => picture.complete && picture.naturalWidth > 0)")
        assert page.value("document.title").startswith(HOSTILE), "hostile words are shown as they are"
        assert page.value("document.querySelectorAll('script').length") == (0 if name == "maker.html" else 1)
        assert page.value("[...document.images].every(picture => picture.alt.length > 0)")
    assert page.requests and all(address.startswith("file://") for address in page.requests), page.requests
    assert page.complaints == []


def test_a_script_that_is_not_ours_does_not_run(page, pages) -> None:
    words = (pages / "index.html").read_text("utf-8")
    ours = "document.title = 'owned'"
    evil = words.replace("</main>", f'<script>{ours}</script><img src=x onerror="{ours}"></main>')
    (pages / "evil.html").write_text(evil, "utf-8")
    page.open(pages / "evil.html")
    assert page.value("document.title") != "owned" and page.complaints, "the policy refused it, and said so"
    page.complaints.clear()
