"""The tone network: what of a film's pictures it sees, and what it says of them, in torch.

`glassine/render/trained.py` does the same in numpy for a night; what both take for input is told
there.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor, nn
from torch.nn import functional

from training.tone_film import HIGH, WIDE, Shown

SIDE = 48
SHARES = (0.002, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999)
LEVEL = 0.999
FACTS = 16
# Shares of places that are lightest by their weakest channel, whose mean colour is told.
LIGHTEST = (0.003, 0.01, 0.04, 0.15)
DARKEST = 0.02
# Every so many places are ranked here; all of them in a night.
EACH = 2
VALUES = 6 * len(SHARES) + 3 * len(LIGHTEST) + 3 + 3 + 3
OFF_DIAGONAL = [(0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 1)]


def inputs(shown: Shown) -> tuple[Tensor, Tensor, Tensor]:
    """Return (thumbnails (F, N, 3, SIDE, SIDE), values (F, N, VALUES), level (F, N))."""
    films, frames = shown.d.shape[:2]
    x = torch.einsum("fnpc,fkc->fnpk", shown.d, shown.matrix).clamp(-1.0, 5.0)
    every = x[:, :, ::EACH]
    ranked = every.sort(dim=-1).values
    each = torch.cat([every, ranked], dim=-1).sort(dim=2).values
    places = every.shape[2]
    found = each[:, :, [round(share * (places - 1)) for share in SHARES]]  # (F, N, S, 6)
    level = each[:, :, round(LEVEL * (places - 1)), 4]
    about = level[..., None]
    order = ranked[..., 0].argsort(dim=2, descending=True)
    light = torch.gather(every, 2, order[..., None].expand(-1, -1, -1, 3))
    parts = [light[:, :, : round(share * places)].mean(dim=2) - about for share in LIGHTEST]
    order = ranked[..., 2].argsort(dim=2)[:, :, : round(DARKEST * places)]
    dark = torch.gather(every, 2, order[..., None].expand(-1, -1, -1, 3)).mean(dim=2) - about
    d = shown.d.view(films * frames, HIGH, WIDE, 3).permute(0, 3, 1, 2)
    small = functional.adaptive_avg_pool2d(d, (SIDE, SIDE)).view(films, frames, 3, -1)
    small = torch.einsum("fncp,fkc->fnkp", small, shown.matrix).clamp(-1.0, 5.0)
    small = (small - level[..., None, None]).view(films, frames, 3, SIDE, SIDE)
    near = level[..., None] - torch.stack([level.amax(dim=1), level.mean(dim=1)], dim=1)[:, None]
    values = [
        (found - level[..., None, None]).flatten(2),
        *parts,
        dark,
        edges(small),
        about - 2,
        near,
    ]
    return small, torch.cat(values, dim=2), level


def edges(small: Tensor) -> Tensor:
    """Return the colour (F, N, 3) of the strongest edges of thumbnails: log10, mean 0."""
    light = 10.0 ** small.clamp(max=0.5)
    across = light[..., 1:, 1:] - light[..., 1:, :-1]
    down = light[..., 1:, 1:] - light[..., :-1, 1:]
    strength = (across.square() + down.square()).sqrt()
    found = torch.log10((strength**5).mean(dim=(3, 4)) + 1e-12) / 5
    return found - found.mean(dim=2, keepdim=True)


class Tone(nn.Module):
    """film: r (3), off-diagonal (6), logs of deviations (3: contrast, ratios, matrix); frame:
    beta (3), logs of deviations (2: exposure, cast), log of expected error."""

    def __init__(self, widths: tuple[int, ...] = (), inner: int = 112) -> None:
        super().__init__()
        ends = (3, *widths)
        self.convs = nn.ModuleList(
            nn.Conv2d(ends[k], ends[k + 1], 3, stride=1 if k == 0 else 2, padding=1)
            for k in range(len(widths))
        )
        seen = (2 * widths[-1] if widths else 0) + VALUES + FACTS
        self.frame1 = nn.Linear(seen, inner)
        self.frame2 = nn.Linear(inner, inner)
        self.pool1 = nn.Linear(3 * inner, inner)
        self.pool2 = nn.Linear(inner, inner)
        self.film1 = nn.Linear(2 * inner + FACTS + 1, inner)
        self.film2 = nn.Linear(inner, 12)
        self.own1 = nn.Linear(3 * inner, inner)
        self.own2 = nn.Linear(inner, 6)
        for last in (self.film2, self.own2):
            nn.init.zeros_(last.bias)
            last.weight.data *= 0.1

    def forward(self, small: Tensor, values: Tensor, facts: Tensor) -> tuple[Tensor, Tensor]:
        films, frames = small.shape[:2]
        parts = [values, facts[:, None].expand(-1, frames, -1)]
        if len(self.convs):
            x = small.flatten(0, 1)
            for conv in self.convs:
                x = functional.relu(conv(x))
            x = torch.cat([x.mean(dim=(2, 3)), x.amax(dim=(2, 3))], dim=1)
            parts.insert(0, x.view(films, frames, -1))
        x = functional.relu(self.frame1(torch.cat(parts, dim=2)))
        x = functional.relu(self.frame2(x))
        both = torch.cat([x.mean(dim=1), x.amax(dim=1)], dim=1)[:, None].expand(-1, frames, -1)
        y = functional.relu(self.pool1(torch.cat([x, both], dim=2)))
        y = functional.relu(self.pool2(y))
        count = torch.full((films, 1), math.log(frames), device=x.device)
        whole = torch.cat([y.mean(dim=1), y.amax(dim=1), facts, count], dim=1)
        film = functional.relu(self.film1(whole))
        of_film = film[:, None].expand(-1, frames, -1)
        own = functional.relu(self.own1(torch.cat([x, y, of_film], dim=2)))
        return self.film2(film), self.own2(own)


def matrix_of(off: Tensor) -> Tensor:
    """Return matrices (F, 3, 3) whose rows sum to 1 of what lies beside their diagonal (F, 6)."""
    rows = torch.zeros(len(off), 3, 3, device=off.device)
    for k, (row, column) in enumerate(OFF_DIAGONAL):
        rows[:, row, column] = off[:, k]
    return rows + torch.diag_embed(1 - rows.sum(dim=2))


def shown_as(shown: Shown, level: Tensor, film: Tensor) -> tuple[Tensor, Tensor]:
    """Return (log10 exposures (F, N, P, 3) about the level before beta, mixing (F, 3, 3))."""
    mix = matrix_of(film[:, 3:9]) @ shown.matrix @ torch.diag_embed(10.0 ** -film[:, :3])
    return torch.einsum("fnpc,fkc->fnpk", shown.d - level[..., None, None], mix), mix


TO_LAB = torch.tensor(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
) / torch.tensor([[0.9505], [1.0], [1.0890]])


def lab(light: Tensor) -> Tensor:
    """Return L*a*b* (..., 3) of linear sRGB, white 1 (CIE 15:2018, 8.2.1)."""
    ratio = light @ TO_LAB.to(light.device).T
    f = torch.where(ratio > 0.008856, ratio.clamp(min=1e-4) ** (1 / 3), 7.787 * ratio + 16 / 116)
    return torch.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], dim=-1
    )


def difference(one: Tensor, other: Tensor) -> Tensor:
    """Return differences of L*a*b*: CIE94 (graphic arts) with the mean of both chromas."""
    chroma_one = (one[..., 1:].square().sum(-1) + 1e-4).sqrt()
    chroma_other = (other[..., 1:].square().sum(-1) + 1e-4).sqrt()
    mean = ((chroma_one + chroma_other) / 2).detach()
    # CIEDE2000's weight of lightness; its turn of blues is left out.
    middle = (other[..., 0] - 50).square()
    d_light = (one[..., 0] - other[..., 0]) / (1 + 0.015 * middle / (20 + middle).sqrt())
    d_chroma = chroma_one - chroma_other
    d_hue2 = ((one[..., 1:] - other[..., 1:]).square().sum(-1) - d_chroma.square()).clamp(min=0)
    total = d_light.square() + (d_chroma / (1 + 0.045 * mean)).square()
    return (total + d_hue2 / (1 + 0.015 * mean).square() + 1e-2).sqrt()


def gaussian(error: Tensor, log_deviation: Tensor) -> Tensor:
    """Return the negative logarithm of how likely errors are."""
    log_deviation = log_deviation.clamp(-6, 2)
    return 0.5 * (error / log_deviation.exp()).square() + log_deviation


def fitted(shown: Shown, weight: Tensor, target: Tensor) -> Tensor:
    """Return the mixing (F, 3, 3) that best makes log10 light of density, over all frames."""
    total = weight.sum(dim=2, keepdim=True)
    d = shown.d - (weight * shown.d).sum(dim=2, keepdim=True) / total
    t = target - (weight * target).sum(dim=2, keepdim=True) / total
    wd = weight * d
    left = torch.einsum("fnpc,fnpk->fck", wd, d).double()
    right = torch.einsum("fnpc,fnpk->fck", wd, t).double()
    ridge = 1e-3 * left.diagonal(dim1=1, dim2=2).mean(dim=1)[:, None, None]
    eye = torch.eye(3, device=d.device, dtype=torch.float64)
    prior = shown.matrix.double().transpose(1, 2)
    return torch.linalg.solve(left + ridge * eye, right + ridge * prior).transpose(1, 2).float()


def losses(shown: Shown, level: Tensor, film: Tensor, own: Tensor) -> dict[str, Tensor]:
    """Return what is made smaller, by name; `error` is the mean difference of each frame."""
    x, mix = shown_as(shown, level, film)
    logs = x + own[:, :, None, :3]
    light = 10.0 ** logs.clamp(-4, 1.2)
    light = torch.where(light < 1, light, 1 + 0.15 * torch.log(light.clamp(min=1)))
    error = difference(lab(light), lab(shown.truth)).mean(dim=2)
    target = torch.log10(shown.truth.clamp(min=0.004))
    weight = (shown.truth.amin(dim=3, keepdim=True) > 0.008).float() + 1e-3
    weight = weight * (0.1 + shown.truth.mean(dim=3, keepdim=True).sqrt())
    total = weight.sum(dim=2)
    off = ((target - logs) * weight).sum(dim=2) / total  # (F, N, 3)
    exposure, cast = off.mean(dim=2), off - off.mean(dim=2, keepdim=True)
    best = fitted(shown, weight, target)
    sums, best_sums = mix.sum(dim=2), best.sum(dim=2).clamp(min=0.2)
    slopes = torch.log10(best_sums / sums.clamp(min=0.2))
    contrast, ratios = slopes.mean(dim=1), slopes - slopes.mean(dim=1, keepdim=True)
    apart = best / best_sums[..., None] - mix / sums[..., None]
    matrix = apart.clamp(-0.5, 0.5)
    logs_of = film[:, 9:12]
    nll = (
        gaussian(exposure, own[..., 3]).mean()
        + gaussian(cast, own[..., 4:5]).mean()
        + 0.5 * gaussian(contrast, logs_of[:, 0]).mean()
        + 0.5 * gaussian(ratios, logs_of[:, 1:2]).mean()
        + 0.5 * gaussian(matrix, logs_of[:, 2:3].unsqueeze(2)).mean()
    )
    log_error = torch.log(error.detach().clamp(min=0.3))
    doubt = (own[..., 5] + 1.6 - log_error).abs().mean()
    return {
        "error": error,
        "nll": nll,
        "doubt": doubt,
        "exposure": exposure,
        "cast": cast,
        "contrast": contrast,
        "ratios": ratios,
        "matrix": matrix,
    }
