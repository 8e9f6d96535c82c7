"""Our films by a reader of their boxes (ISO/IEC 14496-12, clauses 4.2, 8.2.2, 8.4.2, 8.6.1.2, 12.1.3) that knows no Blender."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.files.pictures.labels import Labels
from blender_addon.core.files.pictures.png_writer import write_png
from blender_addon.scene.delivery.video import write_video

FRAMES, TURNS, FPS, SIZE = 5, 3, 12, (64, 48)
HOLDERS = (b"moov", b"trak", b"mdia", b"minf", b"stbl")


def _boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Every box, those inside others after them: (type, content). A size of 1 says that 8 bytes more hold it."""
    place = 0
    while place < len(data):
        size, kind = struct.unpack_from(">I4s", data, place)
        head = 8
        if size == 1:
            size, head = struct.unpack_from(">Q", data, place + 8)[0], 16
        assert size >= head and place + size <= len(data), f"the box {kind!r} ends beyond what holds it"
        content = data[place + head : place + size]
        yield kind, content
        if kind in HOLDERS:
            yield from _boxes(content)
        place += size


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("film")
    pictures = []
    for number in range(FRAMES):
        path = folder / f"{number + 1:04d}.png"
        with path.open("wb") as file:
            write_png(file, [np.full((SIZE[1], SIZE[0], 3), 40 * number, np.uint8)], SIZE, Labels())
        pictures.append(path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    write_video(pictures, folder / "turn.mp4", size=SIZE, fps=FPS, turns=TURNS)
    return folder / "turn.mp4"


def test_frames_rate_length_and_size_are_what_was_asked_for(film: Path) -> None:
    boxes = dict(_boxes(film.read_bytes()))
    scale, length = struct.unpack_from(">II", boxes[b"mvhd"], 12)
    assert length / scale == pytest.approx(FRAMES * TURNS / FPS, abs=0.5 / FPS), "the movie's own length"
    scale, length = struct.unpack_from(">II", boxes[b"mdhd"], 12)
    assert length / scale == pytest.approx(FRAMES * TURNS / FPS, abs=1e-6)
    entries = struct.unpack_from(">I", boxes[b"stts"], 4)[0]
    runs = [struct.unpack_from(">II", boxes[b"stts"], 8 + 8 * number) for number in range(entries)]
    assert sum(count for count, _ in runs) == FRAMES * TURNS
    assert {scale / step for _, step in runs} == {float(FPS)}, "every frame is shown equally long"
    assert struct.unpack_from(">I", boxes[b"stsz"], 8)[0] == FRAMES * TURNS
    kind = boxes[b"stsd"][12:16]
    assert kind == b"avc1" and struct.unpack_from(">HH", boxes[b"stsd"], 8 + 32) == SIZE, (
        "H.264, for which browsers have a player"
    )


def test_its_colour_is_in_a_form_that_players_show(film: Path) -> None:
    """avcC (ISO/IEC 14496-15, 5.3.3.1): up to the profile "high" (100), samples have 8 bits and 4:2:0 (ITU-T H.264, A.2)."""
    sample = dict(_boxes(film.read_bytes()))[b"stsd"][8:]
    config = dict(_boxes(sample[8 + 78 :]))[b"avcC"]
    assert config[0] == 1 and config[1] in (66, 77, 88, 100), config[1]
