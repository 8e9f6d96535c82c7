"""Do the pictures hold up as photographs: nothing clipped, clean shadows, exposure and colour as the cards say?

Each still that the README shows is a case, dressed as the gallery dresses it. `clipped_percent` is read from the picture as
delivered: in the size and the quality of `final`, since small highlights vanish in a smaller picture. `--squares 40` is for a
machine without a graphics card: of the large picture only that many squares are rendered, those that come nearest to an end of
the scale in one of `FULL` pixels; what that one clips elsewhere is counted, too. `dark_noise` compares the picture without
finish with one of 16 times the samples. The cards are photographed at the subject's place in the light of that
still, by a camera of their own and in linear light, with another seed than the job's meter had: the grey card against where
exposure should have put it, the 24-patch chart (published values, tests/outside) after white balance on its own grey.

Noise is that of a picture in its full size, where fine texture spreads over more pixels than in a small one. So that
sixteen times the samples stay affordable, it is measured in square tiles of that picture, drawn by how much of the darkest
tenth each holds. `--tiles 12` draws more of them, `--cases` picks stills, `--fast` does the heroes alone.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from scripts.gallery import PICTURES, Picture, Studio

from . import Options, Record

FULL = 960
"""Longer side of the picture by which squares of the large one are chosen, pixels."""
TILE = 60
"""Edge of the tiles of the large picture in which noise is measured, and of the squares in one of `FULL`, pixels."""
MORE = 16


def run(record: Record, options: Options) -> None:
    """All stills that are wanted."""
    parser = argparse.ArgumentParser(prog="build.py bench pictures")
    parser.add_argument("--tiles", type=int, default=4)
    parser.add_argument("--squares", type=int, default=0, help="squares of the large picture to render; 0: all of it")
    asked = parser.parse_args(options.rest)
    stills = [
        picture
        for picture in PICTURES
        if picture.shown and options.wants(picture.name) and (picture.shot == "hero" or not options.fast)
    ]
    studio = None
    for place, still in enumerate(stills):
        if place == 0 or still.subject != stills[place - 1].subject:
            studio = Studio(still.subject, options.out)
        assert studio is not None
        studio.dress(still.settings)
        _still(record, studio, still, asked, options.out)


def _still(record: Record, studio: Studio, still: Picture, asked: argparse.Namespace, out: Path) -> None:
    from blender_addon.steps.delivery.declared.render import PRESETS

    final, tiles = PRESETS["final"], asked.tiles
    path = out / f"{still.name}.png"
    size = FULL if asked.squares else final.long_side
    studio.picture(path, still.shot, size=size, samples=final.quality.samples, noise=final.quality.noise)
    delivered = codes(path)
    clipped = clipped_percent(delivered)
    if asked.squares:
        squares = squares_at_the_ends(delivered, asked.squares, share=TILE / FULL)
        clipped = clipped_percent(without(delivered, squares))
        large = [codes(part) for part in studio.windows(out / f"{still.name} large", still.shot, squares, **asked_for(1))]
        whole = final.long_side**2 * min(delivered.shape[:2]) / max(delivered.shape[:2])
        clipped += sum(clipped_percent(part) * part.shape[0] * part.shape[1] for part in large) / whole
    record.add("clipped_percent", clipped, case=still.name, unit="%", goal="<= 0.5")
    bright = delivered.mean(axis=-1)
    level = float(np.quantile(bright, 0.1))
    windows = drawn_windows(bright <= level, tiles, share=TILE / final.long_side)
    clean = studio.windows(out / f"{still.name} clean", still.shot, windows, **asked_for(1))
    truth = studio.windows(out / f"{still.name} x{MORE}", still.shot, windows, **asked_for(MORE))
    pairs = [(codes(mine), codes(best)) for mine, best in zip(clean, truth, strict=True)]
    record.add("dark_noise", dark_noise(pairs, level), case=still.name, unit="8-bit steps", goal="<= 2")
    grey, chart = cards(studio, still.shot)
    if grey is not None:
        record.add("grey_card_stops_off", abs(math.log2(grey)), case=still.name, unit="stops", goal="<= 0.1")
    record.add("card_delta_e2000", chart_difference(chart), case=still.name, goal="<= 3")


def asked_for(more: int) -> dict[str, Any]:
    """Size and quality of a still as delivered; `more` times the samples, which the noise threshold may not stop sooner."""
    from blender_addon.steps.delivery.declared.render import PRESETS

    final = PRESETS["final"]
    return {"size": final.long_side, "samples": more * final.quality.samples, "noise": final.quality.noise / math.sqrt(more)}


Window = tuple[float, float, float, float]
"""Left, lower, right and upper edge of a part of a picture, 0 to 1."""


def drawn_windows(dark: np.ndarray, count: int, *, share: float) -> list[Window]:
    """`count` square windows, `share` of the width wide, drawn from a grid in proportion to the dark pixels (h, w) of each."""
    grid = _squares(dark, share)
    held = np.array([_part(dark, square).sum() for square in grid])
    steps = (np.arange(count) + 0.5) / count * held.sum()
    return [grid[place] for place in np.unique(np.searchsorted(np.cumsum(held), steps))]


def squares_at_the_ends(picture: np.ndarray, count: int, *, share: float) -> list[Window]:
    """The `count` square windows, `share` of the width wide, whose brightest or darkest pixel comes nearest to the ends of the
    scale. picture: (h, w, 3) 8-bit codes."""
    grid = _squares(picture, share)
    parts = [_part(picture, square) for square in grid]
    spare = np.array([min(255.0 - float(part.max()), float(part.max(axis=-1).min())) for part in parts])
    return [grid[place] for place in np.argsort(spare, kind="stable")[:count]]


def without(picture: np.ndarray, windows: Sequence[Window]) -> np.ndarray:
    """The picture (h, w, 3) in mid grey where the windows lie."""
    left = picture.copy()
    for window in windows:
        _part(left, window)[...] = 128.0
    return left


def _squares(picture: np.ndarray, share: float) -> list[Window]:
    """The squares of a grid over a picture (h, w, ...), `share` of its width wide."""
    across = share * picture.shape[1] / picture.shape[0]
    lefts, tops = np.arange(0.0, 1.0 - share + 1e-9, share), np.arange(0.0, 1.0 - across + 1e-9, across)
    return [(float(x), float(1.0 - top - across), float(x + share), float(1.0 - top)) for top in tops for x in lefts]


def _part(picture: np.ndarray, window: Window) -> np.ndarray:
    """What a window shows of a picture (h, w, ...), first row at the top."""
    height, width = picture.shape[:2]
    left, lower, right, upper = window
    return picture[round((1 - upper) * height) : round((1 - lower) * height), round(left * width) : round(right * width)]


def dark_noise(pairs: list[tuple[np.ndarray, np.ndarray]], level: float) -> float:
    """Standard deviation of pictures from their references where those are no brighter than `level`, 8-bit steps."""
    off = [(mine - best).mean(axis=-1)[best.mean(axis=-1) <= level] for mine, best in pairs]
    return float(np.std(np.concatenate(off)))


def clipped_percent(picture: np.ndarray) -> float:
    """Share of pixels (h, w, 3; 8-bit codes) with any channel at its upper end, or all at the lower."""
    high = (picture >= 254.5).any(axis=-1)
    low = (picture <= 0.5).all(axis=-1)
    return 100.0 * float((high | low).mean())


def chart_difference(patches: np.ndarray) -> float:
    """Mean CIEDE2000 of (24, 3) linear patches from the published ones, white-balanced on the fourth grey."""
    from blender_addon.core.colour import delta_e_2000, lab
    from blender_addon.core.surface.colour_card import CHART

    published = np.clip(CHART, 0.0, 1.0)  # cyan lies outside of the gamut: no surface of this renderer can have it
    balanced = patches * (published[21] / patches[21])
    return float(np.mean(delta_e_2000(lab(balanced), lab(published))))


def cards(studio: Studio, shot: str) -> tuple[float | None, np.ndarray]:
    """What the grey card reads over what it should at the exposure for it, and the (24, 3) linear patches of the chart.

    None of a close look, which is exposed by what it shows.
    """
    from blender_addon.core.dressing.exposure import GREY
    from blender_addon.core.srgb import luminance
    from blender_addon.scene.delivery.shot_state import dressed_for
    from blender_addon.scene.dressing import meter
    from blender_addon.scene.dressing.shot_light import CARD, close_card, turn_towards

    from ._chart_reading import read_chart

    stage = studio.stage
    camera, card = stage.require("shot", shot), stage.require("card", "grey")
    with dressed_for(stage, camera):
        held = turn_towards(stage.scene.world, camera) @ card.matrix_basis  # the card goes round with camera and light
        place, normal = close_card(camera) or (held.translation * 1000.0, -(held.to_3x3().col[2]))
        around = [item for role in ("table", "backdrop", "prop") for item in stage.find_all(role).values()]
        lit = [item for role in ("light", "card") for item in stage.find_all(role).values() if item != card]
        common = {
            "centre_mm": tuple(place), "normal": tuple(normal), "world": stage.scene.world, "seed": 991,
            "lights": [item for item in lit if not item.hide_render],
            "around": [item for item in around if not item.hide_render],
        }  # fmt: skip
        grey = float(luminance(meter.read_card(**common).colour)) * 2.0 ** stage.scene.world[CARD]
        chart = read_chart(**common)
    return (None if close_card(camera) else grey / GREY), chart


def codes(path: Path) -> np.ndarray:
    """(h, w, 3) 8-bit codes of a picture file, first row at the top."""
    from PIL import Image

    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"), float)
