"""Train the small net of the relief on gathered tiles: `python -m scripts.learning.train TILES OUT [--minutes M] [--width W]`.

Needs torch (not part of the environment: training is done once, on a graphics card). Writes OUT as .npz: convolution weights
as float16, in the order in which `blender_addon.core.relief.refiner` applies them. Prints how much of the slope error is
cut on pieces held out, beside the linear inversion that the net starts from.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import nn
from torch.nn import functional

from blender_addon.core.relief.inversion import KAPPA, RINGS, gain, smoothed
from blender_addon.core.relief.patches import CELLS, wave_vectors, window

CELL_MM = 0.07
LOW_MM = 3.0
DILATIONS = {2: (1, 2, 4, 8, 2, 1), 4: (1, 2, 4, 1)}
"""By fold: how many cells of a side are worked on as one."""
STEEP = 2.5
HELD_OUT = 4
TILES_A_STEP = 96


class Refiner(nn.Module):
    """See `blender_addon.core.relief.refiner` for what goes in and comes out."""

    def __init__(self, width: int, fold: int):
        super().__init__()
        self.fold, kinds = fold, 7 * fold * fold
        self.first = nn.Conv2d(kinds, width, 3, padding=1)
        self.middle = nn.ModuleList(nn.Conv2d(width, width, 3, padding=d, dilation=d) for d in DILATIONS[fold])
        self.last = nn.Conv2d(width + kinds, 2 * fold * fold, 3, padding=1)
        nn.init.zeros_(self.last.weight)
        nn.init.zeros_(self.last.bias)

    def forward(self, planes: torch.Tensor) -> torch.Tensor:
        """(b, 7, C, C) planes to (b, 2, C, C) slopes."""
        small = functional.pixel_unshuffle(planes, self.fold)
        state = self.first(small)
        for layer in self.middle:
            state = state + layer(functional.relu(state))
        made = functional.pixel_shuffle(self.last(torch.cat([functional.relu(state), small], dim=1)), self.fold)
        return planes[:, 5:7] + made


def linear_slopes(closed: torch.Tensor, pull: torch.Tensor, ratio: torch.Tensor) -> torch.Tensor:
    """(b, 2, C, C) slopes of the linear inversion in the tiles' frames, as `inversion.invert` makes them."""
    device = closed.device
    kx, ky = (torch.tensor(part, device=device) for part in wave_vectors(CELL_MM))
    wave = torch.sqrt(kx**2 + ky**2)
    shape = wave.cpu().numpy()
    alpha = torch.tensor(np.maximum(gain(shape), 0.05), device=device)
    keep = 1 - torch.exp(-0.5 * (wave * LOW_MM / (2 * np.pi) * 1.5) ** 4)
    taper = torch.tensor(window(), device=device)
    level = closed - (closed * taper).sum((1, 2), keepdim=True) / taper.sum()
    grid = torch.fft.rfft2(level * taper)
    mean = (pull * taper).sum((2, 3)) / taper.sum()
    along = mean[:, 0, None, None] * kx + mean[:, 1, None, None] * ky
    transfer = torch.complex(KAPPA * wave.expand_as(along), -along)
    height = keep / alpha * transfer.conj() * grid / (transfer.abs() ** 2 + ratio * wave**2).clamp_min(1e-9)
    return torch.stack([torch.fft.irfft2(1j * one * height, s=(CELLS, CELLS)) for one in (kx, ky)], dim=1)


def planes_of(batch: dict[str, torch.Tensor], flip: torch.Tensor | None) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Input planes (b, 7, C, C), true slopes (b, 2, C, C) and their weights (b, C, C); flip: (b,) bool, mirrored across y."""
    closed, raw = batch["closed"].float() / 120, batch["raw"].float() / 120
    pull = functional.interpolate(batch["pull"].float() / 80, size=(CELLS, CELLS), mode="bilinear", align_corners=False)
    target = batch["target"].float() / 127
    target = torch.sign(target) * target**2 * STEEP
    linear = linear_slopes(closed, pull, batch["ratio"])
    taper = torch.tensor(window(), device=closed.device)
    known = (batch["known"] > 0).float()
    levelled = [one - (closed * taper).sum((1, 2), keepdim=True) / taper.sum() for one in (closed, raw)]
    planes = torch.cat([torch.stack([*levelled, known], dim=1), pull, linear], dim=1)
    place = torch.arange(CELLS, device=closed.device) - CELLS / 2 + 0.5
    core = (place[:, None] ** 2 + place[None] ** 2).sqrt() < 40
    weight = ((batch["known"] == 2) & core).float()
    if flip is not None:
        sign = torch.where(flip, -1.0, 1.0)[:, None, None]
        turn = lambda one: torch.where(flip.reshape(-1, *[1] * (one.ndim - 1)), one.flip(-2), one)  # noqa: E731
        planes, target, weight = turn(planes), turn(target), turn(weight)
        planes = torch.cat([planes[:, :4], (planes[:, 4] * sign)[:, None], planes[:, 5:6], (planes[:, 6] * sign)[:, None]], 1)
        target = torch.stack([target[:, 0], target[:, 1] * sign], dim=1)
    return planes, target, weight


def loss_of(made: torch.Tensor, target: torch.Tensor, weight: torch.Tensor) -> torch.Tensor:
    """Mean length of the slopes' error, each tile over how much slope it has, so that busy tiles do not speak for all."""
    off = torch.sqrt(((made - target) ** 2).sum(1) + 1e-4)
    size = torch.sqrt((target**2).sum(1) + 1e-4)
    total = weight.sum((1, 2)).clamp_min(1)
    return (((off * weight).sum((1, 2)) / total) / ((size * weight).sum((1, 2)) / total + 0.05)).mean()


def loaded(paths: list[Path], device: str) -> dict[str, torch.Tensor]:
    """All tiles on the device; 'ratio' as (n, C, C / 2 + 1) float16."""
    parts = [dict(np.load(path)) for path in paths]
    found = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    wave = np.hypot(*wave_vectors(CELL_MM))
    edges = np.linspace(0, wave.max() / np.sqrt(2), RINGS + 1)
    centres = 0.5 * (edges[1:] + edges[:-1])
    curves, which = np.unique(found.pop("ratio"), axis=0, return_inverse=True)
    grids = np.stack([np.exp(np.interp(wave, centres, smoothed(curve))) for curve in curves])
    tiles = {name: torch.tensor(values, device=device) for name, values in found.items()}
    return {
        **tiles,
        "grids": torch.tensor(grids.astype(np.float32), device=device),
        "which": torch.tensor(which.reshape(-1), device=device),
    }


def taken(tiles: dict[str, torch.Tensor], rows: torch.Tensor) -> dict[str, torch.Tensor]:
    """Some tiles."""
    batch = {name: tiles[name][rows] for name in ("closed", "raw", "known", "pull", "target")}
    return {**batch, "ratio": tiles["grids"][tiles["which"][rows]]}


@torch.no_grad()
def judged(net: nn.Module, tiles: dict[str, torch.Tensor]) -> tuple[float, float]:
    """Percent of the median slope error that the linear inversion and the net cut."""
    bare, lines, ours = [], [], []
    for rows in torch.arange(len(tiles["closed"]), device=tiles["closed"].device).split(256):
        planes, target, weight = planes_of(taken(tiles, rows), None)
        sure = weight > 0
        for into, made in ((bare, 0 * target), (lines, planes[:, 5:7]), (ours, net(planes))):
            into.append(torch.sqrt(((made - target) ** 2).sum(1))[sure][::7])
    medians = [float(torch.cat(part).median()) for part in (bare, lines, ours)]
    return 100 * (1 - medians[1] / medians[0]), 100 * (1 - medians[2] / medians[0])


def trained(train: dict[str, torch.Tensor], width: int, fold: int, minutes: float, say: Any) -> nn.Module:
    """The net after some minutes; the averaged weights of its way are what is kept."""
    device = train["closed"].device
    torch.manual_seed(1)
    net = Refiner(width, fold).to(device)
    kept = torch.optim.swa_utils.AveragedModel(net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.999))
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=1e-3)
    start, step, told = time.time(), 0, 0.0
    while (share := (time.time() - start) / (60 * minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = 2e-3 * min(1, (step + 1) / 200) * (0.5 + 0.5 * np.cos(np.pi * share)) + 1e-6
        rows = torch.randint(len(train["closed"]), (TILES_A_STEP,), device=device)
        planes, target, weight = planes_of(taken(train, rows), torch.rand(TILES_A_STEP, device=device) < 0.5)
        loss = loss_of(net(planes), target, weight)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        kept.update_parameters(net)
        step += 1
        if share - told > 0.12:
            told = share
            say(f"fold {fold}, width {width}, step {step}, loss {float(loss.detach()):.4f}", kept.module)
    return kept.module


def save(net: nn.Module, path: Path) -> None:
    """Weights (tap rows, tap columns, in, out) and biases as float16."""
    layers = [net.first, *net.middle, net.last]
    arrays = {
        f"weight{k}": one.weight.permute(2, 3, 1, 0).detach().cpu().numpy().astype(np.float16) for k, one in enumerate(layers)
    }
    arrays |= {f"bias{k}": one.bias.detach().cpu().numpy().astype(np.float16) for k, one in enumerate(layers)}
    np.savez_compressed(path, dilations=np.array(DILATIONS[net.fold]), **arrays)


def main() -> None:
    """Train and save."""
    words = argparse.ArgumentParser()
    words.add_argument("tiles", type=Path)
    words.add_argument("out", type=Path)
    words.add_argument("--minutes", type=float, default=5.0)
    words.add_argument("--width", type=int, default=64)
    words.add_argument("--fold", type=int, default=4)
    words.add_argument("--judge", type=Path, nargs="*", default=[], help="tiles to be judged by too, never learned from")
    asked = words.parse_args()
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    device = "cuda" if torch.cuda.is_available() else "cpu"
    paths = sorted(asked.tiles.glob("practice*.npz"))
    train, held = loaded(paths[HELD_OUT:], device), {"held out": loaded(paths[:HELD_OUT], device)}
    held |= {path.stem: loaded([path], device) for path in asked.judge}
    sys.stdout.write(f"{len(paths)} pieces, {len(train['closed'])} tiles on {device}\n")

    def say(words: str, net: nn.Module) -> None:
        cuts = ", ".join("{} {:.1f} -> {:.1f} %".format(name, *judged(net, tiles)) for name, tiles in held.items())
        sys.stdout.write(f"{words}: {cuts}\n")
        sys.stdout.flush()

    net = trained(train, asked.width, asked.fold, asked.minutes, say)
    say("end", net)
    save(net, asked.out)


if __name__ == "__main__":
    main()
