"""What is handed over from one render: copies in every format and shape, two pages, a turn to drag, and nothing of others'."""

from __future__ import annotations

import os
import shutil
from html import unescape
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from PIL import Image

from blender_addon.core.files.whole import damage
from blender_addon.job.errors import OutputError, SheetError
from blender_addon.job.files.made_files import MANIFEST, MadeFiles
from blender_addon.job.runner import chosen, finish
from blender_addon.job.sheet import override, parse
from blender_addon.scene.delivery.originals import read_picture
from blender_addon.scene.running.session import run_session
from blender_addon.steps import catalogue
from tests.steps.delivery.test_render import SHEET, _peg

TITLE = 'Peg <b>"1"</b> & more'


def _run(folder: Path, *changes: str, first: str | None = None) -> tuple[dict[str, Any], list[str]]:
    sheet = parse(SHEET, catalogue(), name="peg", folder=folder)
    for change in changes:
        override(sheet, change)
    run = run_session(chosen(catalogue(), first=first), catalogue(), sheet, bpy.context.scene, out=folder / "out")
    report, notes = finish(run)
    return report.figures(), [note.words for note in notes.warnings()]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("job")
    _peg(folder)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    _run(folder, f"export.title={TITLE}", "export.maker=Åsa <script>", "export.rights=all", "export.credit=© Åsa")
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "peg.blend"))
    return folder


@pytest.fixture
def again(job):
    bpy.ops.wm.open_mainfile(filepath=str(job / "peg.blend"))
    return job


def test_two_pages_one_for_the_client_and_one_for_the_maker(job):
    out = job / "out"
    client, maker = ((out / name).read_text("utf-8") for name in ("index.html", "maker.html"))
    for words in (TITLE, "Åsa <script>", "all", "© Åsa", "rendered from a scan", "mm (width, depth, height)"):
        assert words in unescape(client), words
    assert "<script>\n" in client and "Åsa <script>" not in client
    for words in ("triangles", "log.txt", "figures.json", "RMS"):
        assert words not in client
    for words in ("triangles", "Orientation", "f/", "Matting spray"):
        assert words in maker
    for picture in ("page/hero.jpg", "page/turn_0001.jpg"):
        assert f'src="{picture}"' in client and not damage(out / picture)
    assert 'href="pictures/hero.png"' in client, "a click opens the still itself"
    assert len(list((out / "page").glob("turn_*.jpg"))) == 3


def test_every_file_of_the_job_is_whole_and_listed(job):
    out = job / "out"
    listed = MadeFiles.read(out).files
    for path in out.rglob("*"):
        if path.is_file() and path.name != MANIFEST:
            assert not damage(path), path
            assert path.relative_to(out).as_posix() in listed
            assert "draft" not in path.name
            if path.suffix in (".png", ".jpg") and path.parent.name != "decisions":  # those are for the questions alone
                assert {".png": b"iCCP", ".jpg": b"ICC_PROFILE"}[path.suffix] in path.read_bytes(), f"{path.name} has a profile"


@pytest.mark.parametrize("kind", ["png8", "png16", "tiff16", "jpeg", "exr"])
def test_copies_come_from_the_one_render(again, kind):
    originals = {path: path.stat().st_mtime_ns for path in (again / "out" / "pictures").rglob("*.*")}
    figures, _ = _run(again, f"export.pictures={kind}", first="export")
    copies = [name for name in figures["export"]["files"] if name.startswith("hand_over/")]
    assert len(copies) == 3 and not any(damage(again / "out" / name) for name in copies)
    assert {path: path.stat().st_mtime_ns for path in (again / "out" / "pictures").rglob("*.*")} == originals


def test_crops_of_each_still_have_their_shapes_and_names(again):
    figures, _ = _run(again, "export.pictures=png8", "export.crops=3:2, 1:1,4:5 ,16x9", "export.width=90", first="export")
    copies = [name for name in figures["export"]["files"] if name.startswith("hand_over/")]
    assert len(copies) == 12 and "hand_over/peg_hero_4x5.png" in copies
    for crop, height in (("3x2", 60), ("1x1", 90), ("4x5", 112), ("16x9", 51)):
        picture = read_picture(again / "out" / "hand_over" / f"peg_hero_{crop}.png")
        assert picture.shape[1] == 90 and abs(picture.shape[0] - height) <= 2, "one pixel of 64 is 1.5 %"


def test_cutouts_are_handed_over_with_words_and_old_copies_are_named(again):
    """Words in the file by Pillow, which reads the packet that ISO 16684-1 puts into a PNG."""
    out = again / "out"
    figures, warned = _run(again, "render.cutouts=true", "render.only=hero", "export.pictures=png8", "export.rights=© Åsa",
                           first="render")  # fmt: skip
    assert "hand_over/peg_hero_cutout.png" in figures["export"]["files"]
    with Image.open(out / "hand_over" / "peg_hero_cutout.png") as picture:
        assert picture.mode == "RGBA" and "© Åsa" in picture.info["XML:com.adobe.xmp"]
        assert not np.asarray(picture)[0, :, 3].any()
    assert not any("earlier state" in words for words in warned)
    future = (out / "pictures" / "hero.png").stat().st_mtime + 86400.0  # later than any copy, however slow the machine
    os.utime(out / "pictures" / "hero.png", (future, future))
    _, warned = _run(again, "render.cutouts=true", first="export")
    assert any("hand_over may show an earlier state, such as peg_back." in words for words in warned), warned
    assert "cutouts/hero.png" in (out / "index.html").read_text("utf-8")


def test_names_are_filled_in_and_clashes_refused(again):
    figures, _ = _run(again, "export.pictures=jpeg", "export.names={number:02} {shot} of {job}", first="export")
    assert "hand_over/01 hero of peg.jpg" in figures["export"]["files"]
    for names in ("../{shot}", "{shot.__class__}", "x", "{job}"):
        with pytest.raises(SheetError, match=r"export\.names"):
            _run(again, "export.pictures=jpeg", f"export.names={names}", first="export")


def test_a_file_of_somebody_else_is_not_written_over(again):
    theirs = again / "out" / "hand_over" / "theirs_hero.png"
    theirs.parent.mkdir(exist_ok=True)
    theirs.write_bytes(b"theirs")
    with pytest.raises(OutputError, match=r"theirs_hero\.png. is there already"):
        _run(again, "export.pictures=png8", "export.names=theirs_{shot}", first="export")
    assert theirs.read_bytes() == b"theirs"
    theirs.unlink()


def test_a_retouched_still_is_what_is_copied_and_that_is_reported(again):
    from blender_addon.scene.delivery.contact_sheet import save_png

    hero = again / "out" / "pictures" / "hero.png"
    kept = hero.read_bytes()
    try:
        picture = read_picture(hero) / 65535.0
        picture[:20, :20] = 1.0
        save_png(picture, hero)
        _, warned = _run(again, "export.pictures=tiff16", first="export")
        assert (read_picture(again / "out" / "hand_over" / "peg_hero.tif")[:20, :20] == 65535).all()
        assert any("peg_hero.tif" in words and "changed by hand" in words for words in warned)
    finally:
        hero.write_bytes(kept)


def test_marks_without_copies_to_bear_them_are_reported(again):
    _, warned = _run(again, "export.scale_bar=true", first="export")
    assert any("no copies were asked for" in words for words in warned)


def test_the_page_hands_out_no_film_or_sheet_of_an_earlier_run(again):
    """Of the piece in another material, perhaps; the files stay."""
    out = again / "out"
    for asked in (True, False, True):
        switch = str(asked).lower()
        _run(again, f"render.turntable={switch}", f"render.contact_sheet={switch}", first="render")
        page = (out / "index.html").read_text("utf-8")
        for name in ("turntable.mp4", "contact_sheet.png"):
            assert (f'href="{name}' in page) is asked and (out / name).is_file()


def test_a_proof_with_a_watermark_hands_out_nothing_without_it(again):
    """The page's own pictures and turn bear it, and nothing that does not is linked; a final picture never has one."""
    out = again / "out"
    bare = {name: read_picture(out / "page" / name).astype(float) for name in ("hero.jpg", "turn_0002.jpg")}
    _run(again, "render.watermark=PROOF", "render.quality=proof", "export.pictures=jpeg", first="export")
    page = (out / "index.html").read_text("utf-8")
    assert "Proofs, to choose by" in page and "hand_over/peg_hero.jpg" in page
    for name in ("pictures/", "turntable.mp4", "contact_sheet.png", "peg.glb"):
        assert f'href="{name}' not in page
    for name, before in bare.items():
        assert abs(read_picture(out / "page" / name) - before).max() > 0.05 * 65535, f"{name} shows the words"
    _run(again, "render.watermark=PROOF", first="export")
    assert "pictures/hero.png" in (out / "index.html").read_text("utf-8")
    assert (read_picture(out / "page" / "hero.jpg") == bare["hero.jpg"]).all()


def test_a_proof_with_a_watermark_leaves_no_picture_without_it(job, tmp_path):
    """Each picture in the folder differs from that of a final with the same samples by the words; then a final has none."""
    folder = shutil.copytree(job, tmp_path / "job", ignore=shutil.ignore_patterns("hand_over"))
    bpy.ops.wm.open_mainfile(filepath=str(folder / "peg.blend"))
    out, asked = folder / "out", ("render.cutouts=true", "export.pictures=png16")
    _run(folder, *asked, first="render")
    pictures = ("pictures/*.png", "cutouts/*.png", "turntable/*.png", "page/*.jpg", "hand_over/*.png", "contact_sheet.png")
    bare = {path: read_picture(path).astype(float) for place in pictures for path in out.glob(place)}
    assert len(bare) > 12
    shutil.copy(out / "turntable" / "0001.png", out / "turntable" / "0009.png")  # of a longer turn
    _, warned = _run(folder, *asked, "render.quality=proof", "render.watermark=PROOF", "render.noise=0.1", first="render")
    assert any(words.startswith("turntable/0009.png: of an earlier round") for words in warned), warned
    assert not list((out / "pictures" / ".originals").glob("*")), "nor are originals without the words kept"
    for path, before in bare.items():
        assert abs(read_picture(path) - before).max() > 0.05 * 65535, f"{path.name} shows the words"
    assert 'href="turntable.mp4"' in (out / "index.html").read_text("utf-8"), "a film that bears them is handed out"
    _run(folder, *asked, first="render")
    for path, before in bare.items():
        assert (read_picture(path) == before).all(), f"{path.name} is as it was"


def test_earlier_versions_stand_beside_what_counts_now(again):
    pictures = again / "out" / "pictures"
    for number in (1, 2):
        (pictures / f"hero.v{number}.png").write_bytes((pictures / "hero.png").read_bytes())
    _run(again, first="export")
    maker = (again / "out" / "maker.html").read_text("utf-8")
    places = [maker.index(f'src="pictures/hero{end}.png"') for end in (".v1", ".v2")]
    assert places == sorted(places) and "Hero, version 2" in maker and "Hero, now" in maker
    assert "hero.v1" not in (again / "out" / "index.html").read_text("utf-8"), "the client sees what counts"
    for number in (1, 2):
        (pictures / f"hero.v{number}.png").unlink()
