"""Train the small net of the relief on gathered tiles: `python -m scripts.learning.train TILES OUT [--minutes M] [--deep D]`.

Needs torch (not part of the environment: training is done once, on a graphics card). Writes OUT as .npz: convolution weights
as float16, named as `core.surface.relief.refiner` applies them. Prints how much of the angle between true and recovered
normals is cut on pieces held out (median, and mean of the worst 5 %), dusted and painted, beside the linear inversion that the
net starts from, and how much of the spread of the relief's log shading.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import nn
from torch.nn import functional

from blender_addon.core.records import record
from blender_addon.core.surface.patches import PATCH, wave_vectors, window
from blender_addon.core.surface.relief.inversion import INVERSION, gain, smoothed

CELL_MM = 0.07
LOW_MM = 3.0
DILATIONS = (1, 2, 4, 8, 4, 2, 1)
STEEP = 2.5
HELD_OUT = 25
"""Every piece whose seed this divides is held out."""
JUDGING = ((0.71, 0.0, 0.71), (0.0, 0.71, 0.71), (-0.5, -0.5, 0.71))
"""Lamps under which the pictures of pieces held out are compared."""
PLANES = 12
TILES_A_STEP = 96
RATE = 2e-3
HUE = 5.0
"""The paint's hue is shown larger, as it differs by less than the rest; in the weights that are kept it is as it was."""
PICTURE = 6.0
"""What a squared error of the picture's log brightness counts beside one of the normal."""
AMBIENT = 0.15
"""Light from all round in that picture, over the lamp's."""
SHADE = 8.0
"""What a squared error of the log shading counts beside one of the normal. At 4 a fiftieth less of the shading of painted
pieces came back, at 20 a fiftieth less of the normals."""


class Refiner(nn.Module):
    """See `blender_addon.core.surface.relief.refiner` for what goes in and comes out."""

    def __init__(self, width: int, deep: int, dilations: Sequence[int] = DILATIONS):
        super().__init__()
        scale = torch.ones(PLANES, 1, 1)
        scale[9:11] = HUE
        self.register_buffer("scale", scale)
        self.first = nn.Conv2d(4 * PLANES, width, 3, padding=1)
        self.before = nn.Conv2d(width, width, 3, padding=1)
        self.down = nn.Conv2d(4 * width + 4, deep, 1)
        self.middle = nn.ModuleList(nn.Conv2d(deep, deep, 3, padding=d, dilation=d) for d in dilations)
        self.dilations = tuple(dilations)
        self.up = nn.Conv2d(deep, 4 * width, 1)
        self.after = nn.Conv2d(width, width, 3, padding=1)
        self.last = nn.Conv2d(width + 4 * PLANES, 12, 3, padding=1)
        nn.init.zeros_(self.last.weight)
        nn.init.zeros_(self.last.bias)

    def forward(self, planes: torch.Tensor, form: torch.Tensor) -> torch.Tensor:
        """(b, 12, C, C) planes and (b, 4, C / 4, C / 4) form to (b, 3, C, C) slopes and log shading."""
        relu, folded = functional.relu, functional.pixel_unshuffle
        small = folded(planes * self.scale, 2)
        fine = self.first(small)
        fine = fine + self.before(relu(fine))
        state = self.down(torch.cat([folded(relu(fine), 2), form], dim=1))
        for layer in self.middle:
            state = state + layer(relu(state))
        fine = fine + functional.pixel_shuffle(self.up(relu(state)), 2)
        fine = fine + self.after(relu(fine))
        return planes[:, 5:8] + functional.pixel_shuffle(self.last(torch.cat([relu(fine), small], dim=1)), 2)


def linear_fields(closed: torch.Tensor, tangential: torch.Tensor, ratio: torch.Tensor) -> torch.Tensor:
    """(b, 3, C, C) slopes and log shading of the linear inversion in the tiles' frames, as `inversion.linear_fields` does."""
    device = closed.device
    kx, ky = (torch.tensor(part, device=device) for part in wave_vectors(CELL_MM))
    wave = torch.sqrt(kx**2 + ky**2)
    shape = wave.cpu().numpy()
    alpha = torch.tensor(np.maximum(gain(shape), 0.05), device=device)
    keep = 1 - torch.exp(-0.5 * (wave * LOW_MM / (2 * np.pi) * 1.5) ** 4)
    taper = torch.tensor(window(), device=device)
    level = closed - (closed * taper).sum((1, 2), keepdim=True) / taper.sum()
    grid = torch.fft.rfft2(level * taper)
    mean = (tangential * taper).sum((2, 3)) / taper.sum()
    along = mean[:, 0, None, None] * kx + mean[:, 1, None, None] * ky
    transfer = torch.complex(INVERSION.kappa * wave.expand_as(along), -along)
    height = keep * transfer.conj() * grid / (transfer.abs() ** 2 + ratio * wave**2).clamp_min(1e-9)
    spectra = (1j * kx * height / alpha, 1j * ky * height / alpha, transfer * height)
    return torch.stack([torch.fft.irfft2(spectrum, s=(PATCH.cells, PATCH.cells)) for spectrum in spectra], dim=1)


Tiles = dict[str, torch.Tensor]


def planes_of(batch: Tiles) -> Tiles:
    """planes (b, 12, C, C), form (b, 4, FORM, FORM), target (b, 3, C, C) and weight (b, C, C) of tiles as gathered."""
    closed, raw = batch["closed"].float() / 120, batch["raw"].float() / 55
    tangential = functional.interpolate(
        batch["tangential"].float() / 80, size=(PATCH.cells, PATCH.cells), mode="bilinear", align_corners=False
    )
    paint, target = batch["paint"].float() / 4000, batch["target"].float() / 127
    target = torch.sign(target) * target**2 * STEEP
    linear = linear_fields(closed, tangential, batch["ratio"])
    taper = torch.tensor(window(), device=closed.device)
    taper = taper / taper.sum()
    level = (closed * taper).sum((1, 2), keepdim=True)
    known = (batch["known"] > 0).float()
    place = torch.arange(PATCH.cells, device=closed.device) - PATCH.cells / 2 + 0.5
    core = (place[:, None] ** 2 + place[None] ** 2).sqrt() < 44
    return {
        "planes": torch.cat([torch.stack([closed - level, raw - level, known], dim=1), tangential, linear, paint], dim=1),
        "form": batch["form"].float() / 4000,
        "target": target,
        "weight": ((batch["known"] == 2) & core).float(),
        "painted": batch["painted"].float(),
    }


def loaded(found: dict[str, Any], device: str) -> Tiles:
    """A piece's tiles on the device, as the net takes them, in half precision."""
    wave = np.hypot(*wave_vectors(CELL_MM))
    edges = np.linspace(0, wave.max() / np.sqrt(2), INVERSION.rings + 1)
    curves, which = np.unique(found.pop("ratio"), axis=0, return_inverse=True)
    grids = np.stack([np.exp(np.interp(wave, 0.5 * (edges[1:] + edges[:-1]), smoothed(curve))) for curve in curves])
    tiles = {name: torch.tensor(values.astype(np.int16), device=device) for name, values in found.items()}
    tiles["ratio"] = torch.tensor(grids.astype(np.float32), device=device)[torch.tensor(which.reshape(-1), device=device)]
    return {name: values.half() for name, values in planes_of(tiles).items()}


class Store:
    """The tiles to learn from. They are read from `folder` as they come, so that training can begin while others gather."""

    def __init__(self, folder: Path, room: int, device: str):
        self.folder, self.room, self.device = folder, room, device
        self.held: list[Tiles] = []
        self.tiles: Tiles = {}
        self.count = self.pieces = 0
        self._asked: set[Path] = set()
        self._coming: list[tuple[Path, Future[dict[str, Any]]]] = []
        self._pool = ThreadPoolExecutor(8)

    def look(self) -> None:
        """Takes the pieces that were read, and asks for those that lie in the folder now."""
        for path in sorted(self.folder.glob("practice*[0-9].npz")):
            if path not in self._asked:
                self._asked.add(path)
                self._coming.append((path, self._pool.submit(lambda path: dict(np.load(path)), path)))
        while self._coming and self._coming[0][1].done():
            path, read = self._coming.pop(0)
            tiles = loaded(read.result(), self.device)
            if int(path.stem.removeprefix("practice")) % HELD_OUT == 0:
                self.held.append(tiles)
            else:
                self._add(tiles)

    def wait(self, pieces: int) -> None:
        """Until so many pieces are there to learn from."""
        while self.pieces < pieces:
            self.look()
            time.sleep(0.2)

    def _add(self, tiles: Tiles) -> None:
        end = self.count + len(tiles["weight"])
        if end > self.room:
            return
        for name, values in tiles.items():
            if name not in self.tiles:
                self.tiles[name] = torch.empty((self.room, *values.shape[1:]), dtype=values.dtype, device=self.device)
            self.tiles[name][self.count : end] = values
        self.count, self.pieces = end, self.pieces + 1


def taken(tiles: Tiles, rows: torch.Tensor, flip: torch.Tensor | None = None) -> Tiles:
    """Some tiles in full precision; those with `flip` (b,) bool are mirrored across y."""
    batch = {name: values[rows].float() for name, values in tiles.items()}
    if flip is None:
        return batch
    sign = torch.where(flip, -1.0, 1.0)[:, None, None]
    for name, sideways in (("planes", (4, 6)), ("form", (1,)), ("target", (1,)), ("weight", ())):  # y of each pair
        values = batch[name]
        turned = torch.where(flip.reshape(-1, *[1] * (values.ndim - 1)), values.flip(-2), values)
        for column in sideways:
            turned[:, column] *= sign
        batch[name] = turned
    return batch


def normals_of(slopes: torch.Tensor) -> torch.Tensor:
    """(b, 3, C, C) unit normals of slopes (b, 2 or more, C, C)."""
    return functional.normalize(torch.cat([-slopes[:, :2], torch.ones_like(slopes[:, :1])], dim=1), dim=1)


def lamps(count: int, device: torch.device) -> torch.Tensor:
    """(count, 3) unit directions of a lamp, 15 to 75 degrees off the tile's normal, at random."""
    round_it = 2 * np.pi * torch.rand(count, device=device)
    off = torch.deg2rad(15 + 60 * torch.rand(count, device=device))
    return torch.stack([off.sin() * round_it.cos(), off.sin() * round_it.sin(), off.cos()], dim=1)


def picture_of(normals: torch.Tensor, lamp: torch.Tensor) -> torch.Tensor:
    """(b, C, C) log brightness of matt normals (b, 3, C, C) under one lamp a tile (b, 3)."""
    return torch.log(AMBIENT + torch.einsum("bkyx,bk->byx", normals, lamp).clamp_min(0))


def loss_of(estimate: torch.Tensor, batch: Tiles, picture: float = PICTURE) -> torch.Tensor:
    """Mean error of the normal, each tile over what it is without relief, so that busy tiles do not speak for all; and mean
    square of that of the shading, about its mean over the tile (a level is nothing that relief makes). A square, not divided
    by what is there, makes the estimate the mean of what may be: divided, it came out too faint on deeply worked pieces.
    For the same reason the mean square of what differs in a picture under another lamp counts `picture` times, but only where
    nothing is painted: the mean of what grain without a hue may be is faint relief, and relief that is not there is worse than
    relief that is missing."""
    target, weight = batch["target"], batch["weight"]
    true, total = normals_of(target), weight.sum((1, 2)).clamp_min(1)
    mean = lambda values: (values * weight).sum((1, 2)) / total  # noqa: E731
    off = torch.sqrt(((normals_of(estimate) - true) ** 2).sum(1) + 1e-4)
    bare = torch.sqrt(((normals_of(0 * target) - true) ** 2).sum(1) + 1e-4)
    shade = target[:, 2] - mean(target[:, 2])[:, None, None]
    loss = (mean(off) / (mean(bare) + 0.05)).mean() + SHADE * mean((estimate[:, 2] - shade) ** 2).mean()
    lamp = lamps(len(target), target.device)
    differ = picture_of(normals_of(estimate), lamp) - picture_of(true, lamp)
    return loss + picture * (mean((differ - mean(differ)[:, None, None]) ** 2) * (1 - batch["painted"])).mean()


@record
class Judged:
    """What a net does on pieces held out, mean over pieces. cuts: percent of the angle to the true normal that is removed:
    of the median by the linear inversion and by the net, of the mean of the worst 5 % by both. shade: percent of the shading's
    deviation that the net explains. likeness: correlation of the pictures under three lamps with the true ones. energy: their
    mean square over that of the true ones."""

    cuts: tuple[float, float, float, float]
    shade: float
    likeness: float
    energy: float

    def __str__(self) -> str:
        cuts = "median {:.1f} -> {:.1f} %, worst {:.1f} -> {:.1f} %".format(*self.cuts)
        return f"{cuts}, shading {self.shade:.1f} %, pictures {self.likeness:.3f} alike, energy {self.energy:.3f}"


def judged(net: Any, pieces: list[Tiles]) -> dict[str, Judged]:
    """How the net does on dusted and on painted tiles."""
    found = {}
    for name, painted in (("dusted", 0.0), ("painted", 1.0)):
        rows = np.mean([_cuts(net, tiles, painted) for tiles in pieces], axis=0)
        found[name] = Judged(tuple(rows[:4]), *rows[4:])
    return found


@torch.no_grad()
def _cuts(net: Any, tiles: Tiles, painted: float) -> list[float]:
    angles: list[list[torch.Tensor]] = [[], [], []]
    shades: list[list[torch.Tensor]] = [[], []]
    pictures = torch.zeros(3, device=tiles["weight"].device)
    for rows in torch.nonzero(tiles["painted"] == painted)[:, 0].split(TILES_A_STEP):
        batch = taken(tiles, rows)
        true, sure = normals_of(batch["target"]), batch["weight"] > 0
        planes = batch["planes"]
        estimate = net(planes, batch["form"])
        for into, slopes in zip(angles, (0 * estimate, planes[:, 5:8], estimate), strict=True):
            into.append(torch.acos((normals_of(slopes) * true).sum(1).clamp(-1, 1))[sure][::7])
        total = batch["weight"].sum((1, 2)).clamp_min(1)
        level = lambda values: ((values * batch["weight"]).sum((1, 2)) / total)[:, None, None]  # noqa: B023, E731
        for into, left in zip(shades, (batch["target"][:, 2], batch["target"][:, 2] - estimate[:, 2]), strict=True):
            into.append((left - level(left))[sure][::7])
        for way in JUDGING:
            lamp = torch.tensor(way, device=total.device).expand(len(total), 3)
            shown = [picture_of(normals, lamp) for normals in (normals_of(estimate), true)]
            ours, truth = ((picture - level(picture)) * batch["weight"] for picture in shown)
            pictures += torch.stack([(ours * truth).sum(), (ours**2).sum(), (truth**2).sum()])
    bare, lines, net_off = (torch.cat(part).sort().values for part in angles)
    middle = [float(part.median()) for part in (bare, lines, net_off)]
    worst = [float(part[-len(part) // 20 :].mean()) for part in (bare, lines, net_off)]
    spread, left = (float(torch.cat(part).std()) for part in shades)
    together, own, there = (float(part) for part in pictures)
    cuts = [100 * (1 - values[k] / values[0]) for values in (middle, worst) for k in (1, 2)]
    return [*cuts, 100 * (1 - left / spread), together / np.sqrt(own * there), own / there]


def trained(store: Store, net: nn.Module, minutes: float, say: Any, rate: float = RATE, picture: float = PICTURE) -> nn.Module:
    """The net after some minutes; the weights averaged over the training are returned."""
    device = torch.device(store.device)
    kept = torch.optim.swa_utils.AveragedModel(net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.9995))
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3, fused=device.type == "cuda")
    start, step, reported = time.time(), 0, 0.0
    while (share := (time.time() - start) / (60 * minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1, (step + 1) / 300) * (0.5 + 0.5 * np.cos(np.pi * share)) + 1e-6
        if step % 200 == 0:
            store.look()
        rows = torch.randint(store.count, (TILES_A_STEP,), device=device)
        batch = taken(store.tiles, rows, torch.rand(TILES_A_STEP, device=device) < 0.5)
        loss = loss_of(net(batch["planes"], batch["form"]), batch, picture)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        kept.update_parameters(net)
        step += 1
        if share - reported > 0.24:
            reported = share
            say(f"step {step}, loss {float(loss.detach()):.4f}", kept.module)
    say(f"step {step}, end", kept.module)
    return kept.module


def save(net: Refiner, path: Path) -> None:
    """Weights (tap rows, tap columns, in, out) and biases as float16."""
    layers = {name: getattr(net, name) for name in ("first", "before", "down", "up", "after", "last")}
    layers |= {f"middle{place}": layer for place, layer in enumerate(net.middle)}
    arrays: dict[str, Any] = {"dilations": np.array(net.dilations)}
    for name, layer in layers.items():
        weight = layer.weight.permute(2, 3, 1, 0).detach().cpu().numpy().copy()
        if name in ("first", "last"):
            weight[:, :, -4 * net.scale.numel() :] *= net.scale.cpu().numpy().repeat(4)[:, None]
        arrays[f"{name}_weight"] = weight.astype(np.float16)
        arrays[f"{name}_bias"] = layer.bias.detach().cpu().numpy().astype(np.float16)
    np.savez_compressed(path, **arrays)


def load(net: Refiner, path: Path) -> None:
    """Weights as `save` writes them."""
    layers = {name: getattr(net, name) for name in ("first", "before", "down", "up", "after", "last")}
    layers |= {f"middle{place}": layer for place, layer in enumerate(net.middle)}
    with np.load(path) as kept, torch.no_grad():
        for name, layer in layers.items():
            weight = kept[f"{name}_weight"].astype(np.float32)
            if name in ("first", "last"):
                weight[:, :, -4 * net.scale.numel() :] /= net.scale.cpu().numpy().repeat(4)[:, None]
            layer.weight.copy_(torch.tensor(weight).permute(3, 2, 0, 1))
            layer.bias.copy_(torch.tensor(kept[f"{name}_bias"].astype(np.float32)))


def main() -> None:
    """Train and save."""
    words = argparse.ArgumentParser()
    words.add_argument("tiles", type=Path)
    words.add_argument("out", type=Path)
    words.add_argument("--minutes", type=float, default=8.0)
    words.add_argument("--width", type=int, default=32)
    words.add_argument("--deep", type=int, default=64)
    words.add_argument("--dilations", type=int, nargs="+", default=list(DILATIONS))
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--start", type=Path, help="weights to go on from")
    words.add_argument("--keep", type=float, default=0.0, help="weight of the weights gone on from in the mean that is saved")
    words.add_argument("--rate", type=float, default=RATE, help="learning rate at its highest")
    words.add_argument("--picture", type=float, default=PICTURE, help="what the picture counts in the loss")
    words.add_argument("--room", type=int, default=150_000, help="most tiles, 0.3 MB of the card's memory each")
    words.add_argument("--wait", type=int, default=1, help="pieces that must be there before training begins")
    asked = words.parse_args()
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    store = Store(asked.tiles, asked.room, "cuda" if torch.cuda.is_available() else "cpu")
    store.wait(asked.wait)
    torch.manual_seed(asked.seed)
    net = Refiner(asked.width, asked.deep, asked.dilations).to(store.device)
    size = sum(part.numel() for part in net.parameters())

    def say(words: str, net: nn.Module) -> None:
        sys.stdout.write(f"{words}: {store.pieces} pieces, {store.count} tiles, {size} weights\n")
        for kind, found in judged(net, store.held).items():
            sys.stdout.write(f"  held out, {kind}: {found}\n")
        sys.stdout.flush()

    if asked.start:
        load(net, asked.start)
        say("at the start", net)
    before = [weight.detach().clone() for weight in net.parameters()]
    net_kept = trained(store, net, asked.minutes, say, asked.rate, asked.picture)
    with torch.no_grad():
        for weight, old in zip(net_kept.parameters(), before, strict=True):
            weight.lerp_(old, asked.keep)
    save(net_kept, asked.out)


if __name__ == "__main__":
    main()
