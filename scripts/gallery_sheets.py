"""Makes the README's two sheets: twelve of our own pieces as one series, and one piece on the benches of six trades.

    python3 build.py gallery sheets [NAME ...] [--size 480] [--samples 64] [--device auto] [--out out/sheets] [--keep]

Every piece is one of ours or a form by formula, dressed by the product's own steps. Names choose the pictures that are made
now; the sheets show all that the folder holds, so that they can be made in parts. `--keep` puts the sheets that are whole into
assets_demo/pictures.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from scripts.gallery import ROOT, SHOWN, keep

SERIES = {
    "owl": 80.0, "hound": 96.0, "sharp": 90.0, "person_disc": 84.0, "bust_socle": 105.0, "cat": 74.0, "bird_rock": 66.0,
    "folds": 95.0, "head_mount": 110.0, "elephant": 96.0, "jug": 120.0, "sitting_open_slab": 78.0,
}  # fmt: skip
"""The series: our pieces, the bench's shapes and made-up figures, with their longest side in mm."""
TRADES = {
    "potter": {"piece": "clay"}, "carver": {"piece": "wood", "wood_species": "walnut"}, "founder": {"piece": "bronze"},
    "painter": {"piece": "compound", "compound": "primer"}, "plaster": {"piece": "plaster"}, "conservator": {"piece": "stone"},
}  # fmt: skip
"""Each trade's bench shows our owl in a material of that trade: beside a wide piece there is room for few props."""
TRADE_OF_NAME = "trade_"


def shape_of(name: str) -> TriangleMesh:
    """A piece of the series in mm, upright on z = 0, its front towards -Y, at its size."""
    from scripts.truth.pieces import figures, hound, shapes

    if name == "hound":
        mesh = hound.hound().mesh()
    elif name in shapes.SHAPES:
        mesh = shapes.shape(name).mesh()
    else:
        mesh = figures.scanned(next(figure for figure in figures.figures() if figure.name == name))
    points = np.asarray(mesh.vertices, float)
    points = points - [*(0.5 * (points.min(axis=0) + points.max(axis=0)))[:2], points[:, 2].min()]
    return replace(mesh, vertices=points * (SERIES[name] / float(np.ptp(points, axis=0).max())))


def picture(name: str, folder: Path, *, size: int, samples: int, device: str) -> None:
    """Makes one picture of a sheet, NAME.png in the folder."""
    from scripts.bench.direction.heroes import hero

    if name in SERIES:
        place, settings, mesh = 1 + list(SERIES).index(name), {"material": {"piece": "clay"}}, shape_of(name)
    else:
        trade = name.removeprefix(TRADE_OF_NAME)
        place, mesh = 1 + list(TRADES).index(trade), shape_of("owl")
        settings = {"material": dict(TRADES[trade]), "tabletop": {"trade": trade}}
    hero(name, mesh, place, folder, size=size, samples=samples, device=device, **settings)


def sheet(names: Sequence[str], folder: Path, path: Path, *, across: int) -> bool:
    """Puts some pictures, by their names, beside each other, each in a field of the same size; False where one is missing."""
    from PIL import Image

    if not all((folder / f"{name}.png").is_file() for name in names):
        return False
    pictures: list[Any] = [Image.open(folder / f"{name}.png").convert("RGB") for name in names]
    wide, high = (max(shown.size[axis] for shown in pictures) for axis in (0, 1))
    rows = -(-len(pictures) // across)
    whole = Image.new("RGB", (across * (wide + 6) - 6, rows * (high + 6) - 6), (24, 24, 24))
    for place, shown in enumerate(pictures):
        left, top = place % across * (wide + 6), place // across * (high + 6)
        whole.paste(shown, (left + (wide - shown.size[0]) // 2, top + (high - shown.size[1]) // 2))
    whole.save(path)
    return True


def main(argv: Sequence[str]) -> int:
    """Makes the pictures that were named, all when none was, then the sheets."""
    every = [*SERIES, *(f"{TRADE_OF_NAME}{trade}" for trade in TRADES)]
    parser = argparse.ArgumentParser(prog="build.py gallery sheets", description=f"Pictures: {', '.join(every)}")
    parser.add_argument("names", nargs="*", metavar="NAME", help="which pictures")
    parser.add_argument("--size", type=int, default=480, help="longer side, pixels")
    parser.add_argument("--samples", type=int, default=64)
    parser.add_argument("--device", default="auto", help="as render.device")
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "sheets", help="where the pictures go")
    parser.add_argument("--keep", action="store_true", help="put the sheets into assets_demo/pictures")
    options = parser.parse_args(list(argv))
    unknown = [name for name in options.names if name not in every]
    if unknown:
        parser.error(f"there is no picture {', '.join(unknown)}")
    for name in options.names or every:
        picture(name, options.out, size=options.size, samples=options.samples, device=options.device)
        print(options.out / f"{name}.png", flush=True)
    trades = [f"{TRADE_OF_NAME}{trade}" for trade in TRADES]
    for path, names, across in ((options.out / "series.png", list(SERIES), 4), (options.out / "trades.png", trades, 3)):
        if sheet(names, options.out, path, across=across) and options.keep:
            keep(path, SHOWN / f"{path.stem}.jpg")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
