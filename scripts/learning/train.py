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
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import nn
from torch.nn import functional

from blender_addon.core.surface.patches import PATCH, wave_vectors, window
from blender_addon.core.surface.relief.inversion import INVERSION, gain, smoothed

CELL_MM = 0.07
LOW_MM = 3.0
DILATIONS = (1, 2, 4, 8, 4, 2, 1)
STEEP = 2.5
HELD_OUT = 8
PLANES = 12
TILES_A_STEP = 96
RATE = 2e-3
HUE = 5.0
"""The paint's hue is shown larger, as it differs by less than the rest; in the weights that are kept it is as it was."""
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


def brought(found: Iterable[dict[str, Any]], total: int, device: str) -> tuple[list[Tiles], Tiles]:
    """The pieces that are held out, and all `total` tiles of the rest."""
    held: list[Tiles] = []
    train: Tiles = {}
    place = 0
    for number, piece in enumerate(found):
        tiles = loaded(piece, device)
        if number < HELD_OUT:
            held.append(tiles)
            continue
        for name, values in tiles.items():
            whole = train.setdefault(name, torch.empty((total, *values.shape[1:]), dtype=values.dtype, device=device))
            whole[place : place + len(values)] = values
        place += len(tiles["weight"])
    return held, train


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


def loss_of(estimate: torch.Tensor, target: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    """Mean error of the normal, each tile over what it is without relief, so that busy tiles do not speak for all; and mean
    square of that of the shading, about its mean over the tile (a level is nothing that relief makes). A square, not divided
    by what is there, makes the estimate the mean of what may be: divided, it came out too faint on deeply worked pieces."""
    true, total = normals_of(target), weight.sum((1, 2)).clamp_min(1)
    mean = lambda values: (values * weight).sum((1, 2)) / total  # noqa: E731
    off = torch.sqrt(((normals_of(estimate) - true) ** 2).sum(1) + 1e-4)
    bare = torch.sqrt(((normals_of(0 * target) - true) ** 2).sum(1) + 1e-4)
    shade = target[:, 2] - mean(target[:, 2])[:, None, None]
    return (mean(off) / (mean(bare) + 0.05)).mean() + SHADE * mean((estimate[:, 2] - shade) ** 2).mean()


@torch.no_grad()
def judged(net: Any, pieces: list[Tiles]) -> list[float]:
    """Percent of the angle to the true normal that is cut, mean over pieces: for dusted and then for painted tiles the median
    by the linear inversion and by the net, the mean of the worst 5 % by both, and percent of the shading's spread by the net.
    """
    return [value for painted in (0.0, 1.0) for value in np.mean([_cuts(net, tiles, painted) for tiles in pieces], axis=0)]


def _cuts(net: Any, tiles: Tiles, painted: float) -> list[float]:
    angles: list[list[torch.Tensor]] = [[], [], []]
    shades: list[list[torch.Tensor]] = [[], []]
    for rows in torch.nonzero(tiles["painted"] == painted)[:, 0].split(TILES_A_STEP):
        batch = taken(tiles, rows)
        true, sure = normals_of(batch["target"]), batch["weight"] > 0
        planes = batch["planes"]
        estimate = net(planes, batch["form"])
        for into, slopes in zip(angles, (0 * estimate, planes[:, 5:8], estimate), strict=True):
            into.append(torch.acos((normals_of(slopes) * true).sum(1).clamp(-1, 1))[sure][::7])
        for into, left in zip(shades, (batch["target"][:, 2], batch["target"][:, 2] - estimate[:, 2]), strict=True):
            total = batch["weight"].sum((1, 2)).clamp_min(1)
            left = left - ((left * batch["weight"]).sum((1, 2)) / total)[:, None, None]
            into.append(left[sure][::7])
    bare, lines, ours = (torch.cat(part).sort().values for part in angles)
    middle = [float(part.median()) for part in (bare, lines, ours)]
    worst = [float(part[-len(part) // 20 :].mean()) for part in (bare, lines, ours)]
    spread, left = (float(torch.cat(part).std()) for part in shades)
    return [100 * (1 - values[k] / values[0]) for values in (middle, worst) for k in (1, 2)] + [100 * (1 - left / spread)]


def trained(train: Tiles, net: nn.Module, minutes: float, say: Any, rate: float = RATE) -> nn.Module:
    """The net after some minutes; the weights averaged over the training are returned."""
    device = train["planes"].device
    kept = torch.optim.swa_utils.AveragedModel(net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.9995))
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3, fused=device.type == "cuda")
    start, step, reported = time.time(), 0, 0.0
    while (share := (time.time() - start) / (60 * minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1, (step + 1) / 300) * (0.5 + 0.5 * np.cos(np.pi * share)) + 1e-6
        rows = torch.randint(len(train["planes"]), (TILES_A_STEP,), device=device)
        batch = taken(train, rows, torch.rand(TILES_A_STEP, device=device) < 0.5)
        loss = loss_of(net(batch["planes"], batch["form"]), batch["target"], batch["weight"])
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
    asked = words.parse_args()
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    device = "cuda" if torch.cuda.is_available() else "cpu"
    paths = sorted(asked.tiles.glob("practice*.npz"))
    with ThreadPoolExecutor(8) as pool:
        sizes = list(pool.map(lambda path: len(np.load(path)["painted"]), paths))
        held, train = brought(pool.map(lambda path: dict(np.load(path)), paths), sum(sizes[HELD_OUT:]), device)
    count = len(paths)
    torch.manual_seed(asked.seed)
    net = Refiner(asked.width, asked.deep, asked.dilations).to(device)
    size = sum(part.numel() for part in net.parameters())
    sys.stdout.write(f"{count} pieces, {len(train['planes'])} tiles on {device}; {size} weights\n")

    def say(words: str, net: nn.Module) -> None:
        cuts = judged(net, held)
        for kind, part in (("dusted", cuts[:5]), ("painted", cuts[5:])):
            cut = "median {:.1f} -> {:.1f} %, worst {:.1f} -> {:.1f} %, shading {:.1f} %".format(*part)
            sys.stdout.write(f"{words}: held out, {kind}: {cut}\n")
        sys.stdout.flush()

    if asked.start:
        load(net, asked.start)
        say("at the start", net)
    before = [weight.detach().clone() for weight in net.parameters()]
    net_kept = trained(train, net, asked.minutes, say, asked.rate)
    with torch.no_grad():
        for weight, old in zip(net_kept.parameters(), before, strict=True):
            weight.lerp_(old, asked.keep)
    save(net_kept, asked.out)


if __name__ == "__main__":
    main()
