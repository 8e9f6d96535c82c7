"""Does a series look made by one eye? Heroes of twelve pieces, dressed as one series, measured beside each other.

    python3 build.py bench direction [--cases koala,lion] [--keep] [--size 480] [--samples 24]

Six pieces are made up (`scripts/truth/pieces/figures.py`), six are labelled scans (`BOZZETTO_SCANS`). A case dresses one piece
with the product's own steps and renders its hero, 240 px, with an id pass; the figures of the series are of all heroes that
`out/bench/direction` holds, so that they can be made in parts. `sheet.png` shows them all. What is held in a series: the
backdrop's mean colour (largest CIEDE2000 between two heroes) and the horizon (largest less smallest, percent of the frame).
What varies: which props, where they lie, which boards. `salient_pieces` counts heroes whose saliency by Hou and Zhang (CVPR
2007) has its maximum on the piece.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from .. import Options, Record
from . import measures
from .pieces import SERIES, mesh_of

GOALS = {
    "prop_height_share": "<= 0.8", "prop_area_share": "<= 0.6", "prop_chroma_ratio": "<= 1", "outline_apart_percent": ">= 70",
    "head_edge_percent": "<= 0",
}  # fmt: skip


def run(record: Record, options: Options) -> None:
    """The heroes that are wanted, then the series."""
    from .heroes import SAMPLES, SIZE, hero

    parser = argparse.ArgumentParser(prog="build.py bench direction")
    parser.add_argument("--size", type=int, default=SIZE, help="longer side, pixels")
    parser.add_argument("--samples", type=int, default=SAMPLES)
    asked = parser.parse_args(options.rest)
    for place, piece in enumerate(SERIES, 1):
        if options.wants(piece.name):
            hero(piece.name, mesh_of(piece), place, options.out, size=asked.size, samples=asked.samples)
            for metric, value in of_hero(options.out, piece.name).items():
                record.add(metric, value, case=piece.name, goal=GOALS[metric])
    _series(record, options.out)


def of_hero(folder: Path, name: str) -> dict[str, float]:
    """The figures of one hero by themselves."""
    picture, ids, _ = read(folder, name)
    colours = measures.lightness_and_colour(picture)
    height, area = measures.prop_shares(ids)
    return {
        "prop_height_share": height, "prop_area_share": area, "prop_chroma_ratio": measures.chroma_ratio(colours, ids),
        "outline_apart_percent": measures.outline_apart(colours, ids), "head_edge_percent": measures.head_edges(colours, ids),
    }  # fmt: skip


def read(folder: Path, name: str) -> tuple[Any, Any, dict[str, Any]]:
    """A hero's picture (h, w, 3), its id pass (h, w) and what its case recorded of it."""
    from PIL import Image

    with Image.open(folder / f"{name}.png") as picture:
        codes = np.asarray(picture.convert("RGB"), float)
    facts = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    return codes, np.load(folder / f"{name}.npz")["ids"], facts


def _series(record: Record, folder: Path) -> None:
    from blender_addon.core.colour import delta_e_2000

    there = [piece.name for piece in SERIES if (folder / f"{piece.name}.json").is_file()]
    heroes = [read(folder, name) for name in there]
    colours = [measures.lightness_and_colour(picture) for picture, _, _ in heroes]
    every = [ids for _, ids, _ in heroes]
    record.add("heroes", len(there), unit="of 12", goal="== 12")
    shown = Counter(
        name
        for _, ids, facts in heroes
        for name, number in facts["props"].items()
        if (ids == number).sum() >= measures.LEAST_PIXELS
    )
    record.add("prop_repeats", max(shown.values(), default=0), unit="of 12", goal="<= 4")
    boards = [set(facts["boards"]) for *_, facts in heroes]
    copied = sum(len(a & b) > 0.5 * max(min(len(a), len(b)), 1) for a, b in combinations(boards, 2))
    record.add("board_repeats", copied, unit="pairs", goal="== 0")
    masks = [ids >= measures.FIRST_PROP for ids in every]
    record.add("prop_mask_iou", measures.largest_overlap(masks), goal="<= 0.2")
    behind = [measures.backdrop_colour(colour, ids) for colour, ids in zip(colours, every, strict=True)]
    apart = max((float(delta_e_2000(a, b)) for a, b in combinations(behind, 2)), default=0.0)
    record.add("backdrop_delta_e", apart, unit="dE2000", goal="<= 4")
    levels = [measures.horizon(ids) for ids in every]
    record.add("horizon_spread_percent", float(np.ptp(levels)), unit="%", goal="<= 2")
    salient = sum(measures.holds_the_eye(colour, ids) for colour, ids in zip(colours, every, strict=True))
    record.add("salient_pieces", salient, unit="of 12", goal=">= 10")
    print({name: count for name, count in shown.most_common()}, flush=True)
    print({name: round(level, 1) for name, level in zip(there, levels, strict=True)}, flush=True)
    print({name: [round(float(value), 1) for value in values] for name, values in zip(there, behind, strict=True)}, flush=True)
    _sheet([picture for picture, _, _ in heroes], folder / "sheet.png")


def _sheet(pictures: list[Any], path: Path, *, across: int = 4) -> None:
    """The heroes beside each other."""
    from PIL import Image

    height, width = (max(picture.shape[axis] for picture in pictures) for axis in (0, 1))
    rows = -(-len(pictures) // across)
    whole = Image.new("RGB", (across * (width + 6) - 6, rows * (height + 6) - 6), (24, 24, 24))
    for place, picture in enumerate(pictures):
        at = (place % across * (width + 6), place // across * (height + 6))
        whole.paste(Image.fromarray(picture.astype(np.uint8)), at)
    whole.save(path)
