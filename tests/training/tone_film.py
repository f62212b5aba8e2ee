"""Films that no two are alike, as the tone network learns from: pictures as masters show them.

All is drawn anew for each batch, on the device: light on surfaces, three layers with overlapping
sensitivities, curves with toe and shoulder, couplers, dyes and mask, fog, fading, stain, grain; a
lamp, a camera with flare, and the profile that its picture is written in. Ranges are wide on
purpose (values from memory, then doubled or so); nothing here is shared with makers/tone or
makers/tone_judge, which say what the network is worth.

Shapes: F films of N frames; spectra have 31 values, 400 to 700 nm in steps of 10.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import torch
from torch import Tensor
from torch.nn import functional

NM = torch.arange(400.0, 701.0, 10.0)
HIGH, WIDE = 96, 144
# IEC 61966-2-1 (linear sRGB to XYZ), and Bradford's D65 to D50 (ICC.1:2022, annex E).
SRGB = torch.tensor([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
TO_D50 = torch.tensor(
    [[1.0479, 0.0229, -0.0502], [0.0296, 0.9904, -0.0171], [-0.0092, 0.0151, 0.7519]]
)
D50 = torch.tensor([0.9642, 1.0, 0.8249])
# Chromaticities of the primaries of encodings, and whether their white is D65.
PRIMARIES = (
    ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), True),
    ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), True),
    ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), False),
    ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), True),
)


def uniform(shape: tuple[int, ...], low: float, high: float, device: torch.device) -> Tensor:
    return torch.rand(shape, device=device) * (high - low) + low


def bell(peak: Tensor, left: Tensor, right: Tensor | None = None) -> Tensor:
    """Return bells (..., 31) of height 1; widths are standard deviations, nm."""
    nm = NM.to(peak.device)
    off = nm - peak[..., None]
    width = left if right is None else torch.where(off > 0, right[..., None], left[..., None])
    if right is None:
        width = left[..., None]
    return torch.exp(-0.5 * (off / width) ** 2)


def planck(kelvin: Tensor) -> Tensor:
    """Return black bodies (..., 31), 1 at 560 nm (Planck's law; c2 = 1.4388e7 nm K)."""
    nm = NM.to(kelvin.device)
    at = kelvin[..., None]
    power = (nm / 560) ** -5 * (torch.exp(1.4388e7 / (560 * at)) - 1)
    return power / (torch.exp(1.4388e7 / (nm * at)) - 1)


def observer(device: torch.device) -> Tensor:
    """Return the observer (3, 31): Wyman, Sloan, Shirley, JCGT 2 (2), 2013, table 1."""
    bells = (
        ((599.8, 37.9, 31.0, 1.056), (442.0, 16.0, 26.7, 0.362), (501.1, 20.4, 26.2, -0.065)),
        ((568.8, 46.9, 40.5, 0.821), (530.9, 16.3, 31.1, 0.286)),
        ((437.0, 11.8, 36.0, 1.217), (459.0, 26.0, 13.8, 0.681)),
    )
    nm = NM.to(device)
    rows = []
    for parts in bells:
        row = torch.zeros_like(nm)
        for middle, below, above, size in parts:
            width = torch.where(nm < middle, below, above)
            row = row + size * torch.exp(-0.5 * ((nm - middle) / width) ** 2)
        rows.append(row)
    return torch.stack(rows)


def spaces(device: torch.device) -> Tensor:
    """Return linear RGB to XYZ (D50) of the encodings, (4, 3, 3)."""
    found = []
    for red, green, blue, d65 in PRIMARIES:
        xyz = torch.tensor([[x / y, 1.0, (1 - x - y) / y] for x, y in (red, green, blue)]).T
        white = SRGB.sum(dim=1) if d65 else D50
        matrix = xyz * torch.linalg.solve(xyz, white)
        found.append(TO_D50 @ matrix if d65 else matrix)
    return torch.stack(found).to(device)


def linear(code: Tensor) -> Tensor:
    return torch.where(code <= 0.04045, code / 12.92, ((code.clamp(min=0) + 0.055) / 1.055) ** 2.4)


@dataclass
class Nominal:
    """What the package takes for usual of a profile, for F of them: see glassine/render/dyes.py.

    matrix: (F, 3, 3); slopes, base: (F, 3)."""

    matrix: Tensor
    slopes: Tensor
    base: Tensor


class Usual:
    """`glassine.render.dyes.nominal` for many profiles at once, by the same numbers (`usual`)."""

    def __init__(self, usual: dict[str, Any], device: torch.device) -> None:
        def tensor(values: Any) -> Tensor:
            return torch.as_tensor(values, dtype=torch.float64, device=device)

        self.dyes, self.base = tensor(usual["dyes"]), tensor(usual["base"])
        self.balance, self.observer = tensor(usual["balance"]), tensor(usual["observer"])
        self.wanted, self.made = tensor(usual["wanted"]), tensor(usual["made"])
        self.strength = float(usual["strength"])

    def of(self, to_xyz: Tensor, srgb: Tensor) -> Nominal:
        """to_xyz: (F, 3, 3); srgb: (F,), whether it is sRGB's own."""
        to_profile = torch.linalg.inv(to_xyz.double()) @ self.observer

        def density(amounts: Tensor) -> Tensor:
            light = (10.0 ** -(amounts @ self.dyes + self.base)) @ to_profile.transpose(1, 2)
            return -torch.log10(light.clamp(min=1e-5))

        clear = density(torch.zeros_like(self.wanted[:1]))
        greys = torch.tensor([[0.3], [1.1]], dtype=torch.float64, device=to_xyz.device)
        grey = density(greys * self.balance) - clear
        slopes = (grey[:, 1] - grey[:, 0]) / 0.8
        got = (density(self.made * self.balance) - clear) / slopes[:, None]
        got = torch.cat([got, torch.ones_like(got[..., :1])], dim=-1)
        wanted = self.wanted.expand(len(got), -1, -1)
        mix = torch.linalg.lstsq(got, wanted).solution[:, :3].transpose(1, 2)
        eye = torch.eye(3, dtype=torch.float64, device=to_xyz.device)
        strength = torch.where(srgb, 0.0, self.strength)[:, None]
        mix = eye + strength[..., None] * (mix / mix.sum(dim=2, keepdim=True) - eye)
        return Nominal(mix.float(), (slopes**strength).float(), clear[:, 0].float())


class Pictures:
    """Photographs on the device, and pictures drawn of plain shapes."""

    def __init__(self, photographs: list[Tensor], device: torch.device) -> None:
        self.all = [one.to(device) for one in photographs]  # uint8 (h, w, 3)
        self.device = device

    def _photograph(self, generator: torch.Generator) -> Tensor:
        def draw() -> float:
            return float(torch.rand(1, generator=generator))

        one = self.all[int(draw() * len(self.all))]
        high, wide = one.shape[:2]
        share = 0.7 + 0.3 * draw() if draw() < 0.75 else 0.12 + 0.4 * draw()
        ratio = 1.5 if draw() < 0.7 else 1.0 / 1.5 if draw() < 0.3 else 1.2
        tall = int(max(16, min(high, wide / ratio) * share))
        across = int(max(16, min(wide, tall * ratio)))
        top, left = int(draw() * (high - tall + 1)), int(draw() * (wide - across + 1))
        part = one[top : top + tall, left : left + across].permute(2, 0, 1)[None].float() / 255
        if draw() < 0.5:
            part = part.flip(3)
        return functional.interpolate(
            linear(part), (HIGH, WIDE), mode="bilinear", antialias=True, align_corners=False
        )[0]

    def _drawn(self, generator: torch.Generator) -> Tensor:
        """Return a picture of boxes, discs and slopes of light, of few or many colours."""

        def draw(*shape: int) -> Tensor:
            return torch.rand(shape, generator=generator).to(self.device)

        y = torch.linspace(0, 1, HIGH, device=self.device)[:, None]
        x = torch.linspace(0, 1.5, WIDE, device=self.device)[None]

        def paint() -> Tensor:
            value = 0.04 + 0.96 * draw(1) ** 1.3
            chroma = draw(3) - 0.5
            return (value * (1 + 1.6 * float(draw(1)) ** 2 * (chroma - chroma.mean()))).clamp(0, 1)

        one, few = paint(), float(draw(1)) < 0.45
        base = paint()
        picture = base[:, None, None] * (1 + (y + 0 * x) * (float(draw(1)) - 0.5))
        for _ in range(int(1 + 3 * float(draw(1))) if few else int(4 + 22 * float(draw(1)))):
            cy, cx, ry, rx = draw(4).tolist()
            rx, ry = 0.03 + 0.3 * rx, 0.03 + 0.3 * ry
            if float(draw(1)) < 0.7:
                mask = ((y - cy).abs() < ry) & ((x - 1.5 * cx).abs() < rx)
            else:
                mask = ((y - cy) / ry) ** 2 + ((x - 1.5 * cx) / rx) ** 2 < 1
            colour = (0.7 * one + 0.3 * paint()) if few else paint()
            shade = 1 + 0.5 * (float(draw(1)) - 0.5) * (x + y)
            picture = torch.where(mask, colour[:, None, None] * shade, picture)
        noise = torch.randn((1, 1, HIGH // 4, WIDE // 4), device=self.device)
        noise = functional.interpolate(noise, (HIGH, WIDE), mode="bicubic")[0]
        fine = torch.randn((1, HIGH, WIDE), device=self.device)
        rough = 0.3 * float(draw(1)) * noise + 0.12 * float(draw(1)) * fine
        return (picture * torch.exp(rough)).clamp(0.002, 1)

    def draw(self, films: int, frames: int, generator: torch.Generator) -> Tensor:
        """Return linear sRGB (films, frames, 3, HIGH, WIDE), white 1."""
        made = [
            self._drawn(generator)
            if float(torch.rand(1, generator=generator)) < 0.25
            else self._photograph(generator)
            for _ in range(films * frames)
        ]
        return torch.stack(made).view(films, frames, 3, HIGH, WIDE).clamp(0.0, 1.0)


@dataclass
class Shown:
    """d: density above base over the usual slopes, (F, N, P, 3), P pixels row by row; truth:
    linear sRGB, same shape; usual: matrix (F, 3, 3); facts: (F, 16) what is known of the film."""

    d: Tensor
    truth: Tensor
    matrix: Tensor
    facts: Tensor


class Studio:
    """Draws films and captures them."""

    def __init__(self, usual: dict[str, Any], device: torch.device) -> None:
        self.device = device
        self.usual, self.spaces = Usual(usual, device), spaces(device)
        self.observer = observer(device)

    def _u(self, *shape: int, low: float, high: float) -> Tensor:
        return uniform(shape, low, high, self.device)

    def _n(self, *shape: int, by: float) -> Tensor:
        return torch.randn(shape, device=self.device) * by

    def _surfaces(self, films: int) -> Tensor:
        """Return reflectances (F, 3, 31) of linear red, green and blue that add up to 1."""
        nm = NM.to(self.device)
        low, high = self._u(films, 1, low=483, high=508), self._u(films, 1, low=575, high=602)
        blue = torch.sigmoid((low - nm) / self._u(films, 1, low=6, high=18))
        red = torch.sigmoid((nm - high) / self._u(films, 1, low=6, high=18))
        return torch.stack([red, (1 - red - blue).clamp(min=0), blue], dim=1)

    def _sees(self, films: int) -> Tensor:
        """Return the layers' sensitivities (F, 3, 31)."""
        u = self._u
        red = bell(
            u(films, low=628, high=658), u(films, low=20, high=40), u(films, low=14, high=28)
        )
        green = bell(
            u(films, low=540, high=558), u(films, low=18, high=36), u(films, low=16, high=30)
        )
        blue = bell(
            u(films, low=435, high=460), u(films, low=20, high=36), u(films, low=16, high=32)
        )
        leak = u(films, 1, low=0, high=0.06) * blue
        return torch.stack([red + 0.5 * leak, green + leak, blue], dim=1)

    def _exposed(self, scenes: Tensor) -> Tensor:
        """Return log10 exposures (F, N, P, 3) of scenes (F, N, 3, H, W)."""
        films, frames = scenes.shape[:2]
        sees, surfaces = self._sees(films), self._surfaces(films)
        kelvin = torch.full((films, frames), 5500.0, device=self.device)
        kelvin = kelvin * torch.exp(self._n(films, 1, by=0.06) + self._n(films, frames, by=0.03))
        odd = torch.rand(films, 1, device=self.device)
        alone = torch.rand(films, frames, device=self.device) < 0.06
        warm = self._u(films, frames, low=2600, high=4200)
        cool = self._u(films, frames, low=6500, high=11000)
        film_warm = self._u(films, 1, low=2600, high=4200).expand(films, frames)
        film_cool = self._u(films, 1, low=6500, high=11000).expand(films, frames)
        kelvin = torch.where(odd < 0.11, film_warm, torch.where(odd < 0.17, film_cool, kelvin))
        one = torch.where(torch.rand_like(warm) < 0.6, warm, cool)
        kelvin = torch.where(alone, one, kelvin)
        light = planck(kelvin)
        day = planck(torch.full((films,), 5500.0, device=self.device))
        white = torch.einsum("flw,fw->fl", sees, day)
        taken = torch.einsum("flw,fnw,fcw->fnlc", sees, light, surfaces)
        meter = bell(
            torch.tensor(550.0, device=self.device), torch.tensor(50.0, device=self.device)
        )
        level = (light @ meter) / (day @ meter)[:, None]
        taken = taken / white[:, None, :, None] / level[..., None, None]
        seen = torch.einsum("fnlc,fnchw->fnhwl", taken, scenes).clamp(min=1e-5)
        wide = torch.rand(films, 1, device=self.device) < 0.4
        ev = torch.where(
            wide, self._u(films, frames, low=-2.2, high=3.2), self._n(films, frames, by=0.3)
        )
        return torch.log10(seen).flatten(2, 3) + 0.30103 * ev[..., None, None]

    def _amounts(self, logs: Tensor, state: Tensor) -> Tensor:
        """Return layers' densities (F, N, P, 3); state: (F,) 0 usual, 1 faded, 2 expired."""
        films = len(logs)
        old = (state == 2).float()[:, None]
        slope = self._u(films, 1, low=0.50, high=0.70) + self._n(films, 3, by=0.03)
        slope = slope * (1 - old * self._u(films, 3, low=0.0, high=0.28))
        foot = self._u(films, 1, low=-2.5, high=-1.8) + self._n(films, 3, by=0.11)
        foot = foot + old * self._u(films, 3, low=0.0, high=0.42)
        reach = self._u(films, 3, low=2.7, high=3.8)
        soft = self._u(films, 3, low=0.06, high=0.26)
        shape = (films, 1, 1, 3)
        slope, foot, reach, soft = (v.view(shape) for v in (slope, foot, reach, soft))

        def through(at: Tensor) -> Tensor:
            above = (at - foot) / soft
            return (
                slope
                * soft
                * (functional.softplus(above) - functional.softplus(above - reach / soft))
            )

        amounts = through(logs)
        held = self._u(films, low=0, high=0.12) * (torch.rand(films, device=self.device) < 0.6)
        others = amounts.sum(dim=-1, keepdim=True) - amounts
        amounts = through(logs - held.view(-1, 1, 1, 1) * (others / 2 - amounts))
        grain = self._u(films, 1, 1, 1, low=0.001, high=0.012)
        noise = torch.randn_like(amounts) * grain * amounts.clamp(min=0.02).sqrt()
        return (amounts + noise).clamp(min=0)

    def _dyes(self, films: int) -> tuple[Tensor, Tensor]:
        """Return dyes' own (F, 3, 31) and unwanted (F, 3, 31) absorptions."""
        u = self._u
        own = torch.stack(
            [
                bell(
                    u(films, low=655, high=698),
                    u(films, low=45, high=75),
                    u(films, low=45, high=70),
                ),
                bell(
                    u(films, low=536, high=556),
                    u(films, low=26, high=40),
                    u(films, low=24, high=38),
                ),
                bell(
                    u(films, low=436, high=454),
                    u(films, low=26, high=46),
                    u(films, low=28, high=46),
                ),
            ],
            dim=1,
        )
        blue = bell(u(films, low=425, high=445), u(films, low=35, high=60))
        red = bell(u(films, low=630, high=650), u(films, low=30, high=45))
        green = bell(u(films, low=550, high=570), u(films, low=40, high=60))
        unwanted = torch.stack(
            [
                u(films, 1, low=0.04, high=0.17) * blue + u(films, 1, low=0, high=0.06) * green,
                u(films, 1, low=0.06, high=0.26) * blue + u(films, 1, low=0, high=0.06) * red,
                u(films, 1, low=0.0, high=0.06) * green,
            ],
            dim=1,
        )
        return own, unwanted

    def _spectral(self, amounts: Tensor, state: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Return (linear light (F, N, P, 3), of clear film (F, 3), to_xyz, whether sRGB)."""
        films = len(amounts)
        u = self._u
        own, unwanted = self._dyes(films)
        fog = u(films, 3, low=0.02, high=0.14)
        fog = fog + (state == 2).float()[:, None] * u(films, 3, low=0.03, high=0.35)
        kept = 1 - (state == 1).float()[:, None] * u(films, 3, low=0.03, high=0.48)
        masked = torch.rand(films, 1, 1, device=self.device) < 0.9
        share = u(films, 3, 1, low=0.5, high=1.1) * masked
        share = torch.cat([share[:, :2], torch.zeros_like(share[:, :1])], dim=1)
        stain = u(films, 1, low=0, high=0.1) * bell(
            u(films, low=400, high=420), u(films, low=40, high=60)
        )
        base = (
            u(films, 1, low=0.04, high=0.22)
            + stain
            + u(films, 1, low=0, high=0.08)
            * bell(u(films, low=410, high=430), u(films, low=45, high=70))
        )
        # Coloured couplers: where no dye has formed, what it would absorb beside its own band.
        mask = share * unwanted
        slope = kept[:, :, None] * (own + unwanted) - mask
        most = u(films, 1, low=2.3, high=2.9)
        floor = base + torch.einsum("fl,flw->fw", fog, slope) + (most[..., None] * mask).sum(dim=1)
        lamp = self._lamp(films)
        camera = self._camera(films)
        seen_by = camera * lamp[:, None]
        seen_by = seen_by / seen_by.sum(dim=2, keepdim=True)
        density = torch.einsum("fnpl,flw->fnpw", amounts, slope) + floor[:, None, None]
        raw = torch.einsum("fnpw,fcw->fnpc", 10.0**-density, seen_by)
        clear = torch.einsum("fw,fcw->fc", 10.0**-floor, seen_by)
        flare = u(films, 1, 1, 1, low=0, high=0.012) * (
            torch.rand(films, 1, 1, 1, device=self.device) < 0.8
        )
        raw = raw * (1 - flare) + flare * raw.mean(dim=2, keepdim=True)
        profile = self._camera_matrix(seen_by, lamp)
        which = torch.randint(0, 6, (films,), device=self.device)
        encoded = which < 4
        to_xyz = torch.where(encoded[:, None, None], self.spaces[which.clamp(max=3)], profile)
        change = torch.linalg.solve(to_xyz, profile)
        light = torch.einsum("fnpc,fkc->fnpk", raw, change)
        return light, torch.einsum("fc,fkc->fk", clear, change), to_xyz, which == 0

    def _lamp(self, films: int) -> Tensor:
        u = self._u
        kind = torch.rand(films, 1, device=self.device)
        white = u(films, 1, low=0.5, high=1.1) * bell(
            u(films, low=445, high=460), u(films, low=9, high=14)
        )
        white = white + bell(
            u(films, low=548, high=575), u(films, low=40, high=60), u(films, low=50, high=75)
        )
        bands = (
            bell(u(films, low=448, high=462), u(films, low=9, high=16))
            + bell(u(films, low=520, high=540), u(films, low=11, high=20))
            + bell(u(films, low=622, high=645), u(films, low=8, high=16))
        )
        glow = planck(u(films, low=2800, high=6000))
        return torch.where(kind < 0.5, white, torch.where(kind < 0.75, bands, glow)) + 0.005

    def _camera(self, films: int) -> Tensor:
        u = self._u
        red = bell(
            u(films, low=592, high=625), u(films, low=18, high=34), u(films, low=24, high=48)
        )
        green = bell(
            u(films, low=526, high=542), u(films, low=22, high=44), u(films, low=22, high=48)
        )
        blue = bell(
            u(films, low=447, high=468), u(films, low=18, high=33), u(films, low=18, high=33)
        )
        leak = u(films, 3, 3, low=0, high=0.09) * (1 - torch.eye(3, device=self.device))
        own = torch.stack([red, green, blue], dim=1)
        return own + leak @ own

    def _camera_matrix(self, seen_by: Tensor, lamp: Tensor) -> Tensor:
        """Return matrices (F, 3, 3) from channels to XYZ (D50), as makers of profiles fit them."""
        films, u = len(lamp), self._u
        dyes = torch.stack(
            [
                bell(u(films, low=640, high=665), u(films, low=40, high=50)),
                bell(u(films, low=538, high=552), u(films, low=33, high=43)),
                bell(u(films, low=440, high=452), u(films, low=31, high=40)),
            ],
            dim=1,
        )
        through = 10.0 ** -(u(films, 200, 3, low=0, high=1.5) @ dyes)
        paints = u(films, 120, 3, low=0, high=1) @ self._surfaces(films)
        through = torch.cat([through, paints], dim=1)
        eye = self.observer * lamp[:, None]
        eye = eye / eye.sum(dim=2, keepdim=True)
        seen, xyz = through @ seen_by.transpose(1, 2), through @ eye.transpose(1, 2)
        weight = 1 / (0.05 + seen.mean(dim=2, keepdim=True))
        found = torch.linalg.lstsq(seen * weight, xyz * weight).solution.transpose(1, 2)
        return D50.to(self.device)[:, None] * found / found.sum(dim=2, keepdim=True)

    def _direct(self, amounts: Tensor, state: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """As `_spectral`, of masters whose channels stand each for its layer, more or less."""
        films = len(amounts)
        mix = torch.eye(3, device=self.device) + self._u(films, 3, 3, low=-0.04, high=0.14) * (
            1 - torch.eye(3, device=self.device)
        )
        kept = 1 - (state == 1).float()[:, None] * self._u(films, 3, low=0.03, high=0.48)
        clear = torch.tensor([0.25, 0.60, 0.85], device=self.device) + self._u(
            films, 3, low=-0.2, high=0.2
        )
        density = (amounts * kept[:, None, None]) @ mix.transpose(1, 2)[:, None] + clear[
            :, None, None
        ]
        to_xyz = self.spaces[0].expand(films, 3, 3)
        is_srgb = torch.ones(films, dtype=torch.bool, device=self.device)
        return 10.0**-density, 10.0**-clear, to_xyz, is_srgb

    def capture(self, scenes: Tensor, direct: bool) -> Shown:
        """Return films of scenes (F, N, 3, H, W) as their masters show them."""
        films = len(scenes)
        chance = torch.rand(films, device=self.device)
        state = torch.where(chance < 0.6, 0, torch.where(chance < 0.8, 1, 2))
        amounts = self._amounts(self._exposed(scenes), state)
        light, clear, to_xyz, is_srgb = (self._direct if direct else self._spectral)(amounts, state)
        level = self._u(films, low=0.55, high=0.95) / clear.max(dim=1).values
        light = light * level[:, None, None, None]
        light = light + torch.randn_like(light) * 2e-5
        clear = (clear * level[:, None]).clamp(min=2.0**-17)
        density = -torch.log10(light.clamp(2.0**-17, 1.0))
        usual = self.usual.of(to_xyz, is_srgb)
        seen = torch.rand(films, device=self.device) < 0.7
        base = -torch.log10(clear)
        flat = density.flatten(1, 2)[:, ::3]
        thin = flat.kthvalue(max(1, int(0.0005 * flat.shape[1])), dim=1).values
        dmin = torch.where(seen[:, None], base + self._n(films, 3, by=0.006), thin)
        slopes = 0.6 * usual.slopes
        d = (density - dmin[:, None, None]) / slopes[:, None, None]
        facts = torch.cat(
            [
                (usual.matrix - torch.eye(3, device=self.device)).flatten(1),
                torch.log10(usual.slopes),
                seen.float()[:, None],
                dmin - usual.base,
            ],
            dim=1,
        )
        truth = scenes.permute(0, 1, 3, 4, 2).flatten(2, 3)
        return Shown(d, truth, usual.matrix, facts)
