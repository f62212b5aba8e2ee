"""The map's network, and how it becomes a file that gives the same bytes on every processor.

It is trained in floating point, then (`fold`) with all weights and all values between the layers on
a grid: a value is a whole number from 0 to 255, a weight a whole number of at most 7 bits times a power of
two of its output channel. All sums of a convolution are then multiples of that power of two, and
less than 2 ** 24 of them (`check`), so that float32 holds each of them exactly: their order, fused
products and the instructions that a processor has make no difference to the result.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import nn
from torch.nn import functional

from training.scenes import CLASSES, GREATEST

# A value of 1 between layers is 32 steps.
UNIT = 32.0
MOST = 255
WIDTHS = (16, 24, 48, 64, 96)
DILATIONS = (1, 2, 4, 8)
OUTPUTS = len(CLASSES) + 1
# Weights are whole numbers from -127 to 127.
WEIGHT = 127


class _OnGrid(torch.autograd.Function):
    """Round down to whole steps; the gradient passes as if nothing had been rounded."""

    @staticmethod
    def forward(ctx: Any, x: torch.Tensor) -> torch.Tensor:
        return torch.clamp(torch.floor(x * UNIT + 0.5), 0, MOST) / UNIT

    @staticmethod
    def backward(ctx: Any, grad: torch.Tensor) -> torch.Tensor:
        return grad


def exponents(w: torch.Tensor) -> torch.Tensor:
    """Return per output channel the power of two of which its weights are multiples."""
    most = w.detach().abs().amax((1, 2, 3)).clamp_min(1e-6)
    return torch.ceil(torch.log2(most / WEIGHT)).clamp(-30, -1)


def on_grid(w: torch.Tensor, b: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Return weights and bias rounded to the channel's grid; gradients pass."""
    step = torch.exp2(exponents(w))[:, None, None, None]
    rounded = torch.round(w / step) * step
    flat = step.flatten() / UNIT
    bias = torch.round(b / flat) * flat
    return w + (rounded - w).detach(), b + (bias - b).detach()


class Layer(nn.Module):
    """A convolution and what follows it. name: in the file."""

    def __init__(
        self,
        name: str,
        into: int,
        out: int,
        k: int = 3,
        stride: int = 1,
        dilation: int = 1,
        head: bool = False,
    ) -> None:
        super().__init__()
        self.name, self.head, self.exact = name, head, False
        self.conv = nn.Conv2d(into, out, k, stride, dilation * (k // 2), dilation, bias=head)
        self.norm = nn.Identity() if head else nn.BatchNorm2d(out)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        if not self.exact:
            x = self.norm(self.conv(x))
            return x if self.head else torch.clamp(x, 0, MOST / UNIT)
        w, b = on_grid(self.conv.weight, self.conv.bias)
        c = self.conv
        x = functional.conv2d(x, w, b, c.stride, c.padding, c.dilation)
        return x if self.head else _OnGrid.apply(torch.clamp(x, -0.01, (MOST + 0.4) / UNIT))

    def fold(self) -> None:
        """Take the normalisation into the weights; from now on all is on the grid."""
        if not self.head:
            n = self.norm
            k = n.weight / torch.sqrt(n.running_var + n.eps)
            self.conv.bias = nn.Parameter((n.bias - n.running_mean * k).detach())
            self.conv.weight.data *= k.detach()[:, None, None, None]
            self.norm = nn.Identity()
        self.exact = True


class Map(nn.Module):
    """(n, 3, h, w) tones in whole steps -> (n, classes + 1, h, w): a score each, the last of edges."""

    def __init__(self) -> None:
        super().__init__()
        w = WIDTHS
        self.first = Layer("first", 3, w[0])
        self.down = nn.ModuleList(
            [Layer(f"down{k}", w[k - 1], w[k], stride=2) for k in range(1, 5)]
        )
        self.same = nn.ModuleList([Layer(f"same{k}", w[k], w[k]) for k in range(1, 4)])
        self.wide = nn.ModuleList([Layer(f"wide{d}", w[4], w[4], dilation=d) for d in DILATIONS])
        self.less = nn.ModuleList([Layer(f"less{k}", w[k + 1], w[k], k=1) for k in range(4)])
        self.join = nn.ModuleList([Layer(f"join{k}", w[k], w[k]) for k in range(4)])
        self.head = Layer("head", w[0], OUTPUTS, k=1, head=True)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        x = self.first(x / UNIT)
        seen = [x]
        for k, down in enumerate(self.down):
            x = down(x)
            if k < 3:
                x = self.same[k](x)
                seen.append(x)
        for wide in self.wide:
            x = torch.clamp(x + wide(x), 0, MOST / UNIT)
        for k in (3, 2, 1, 0):
            x = functional.interpolate(self.less[k](x), scale_factor=2, mode="nearest")
            x = self.join[k](x + seen[k])
        return self.head(x)

    def layers(self) -> list[Layer]:
        return [m for m in self.modules() if isinstance(m, Layer)]

    def fold(self) -> None:
        for layer in self.layers():
            layer.fold()


def check(layer: Layer, most: int) -> float:
    """Return the share of 2 ** 24 that the layer's sums may reach; raises ValueError above 1."""
    w, b = on_grid(layer.conv.weight, layer.conv.bias)
    step = torch.exp2(exponents(layer.conv.weight))
    reach = (w.abs().sum((1, 2, 3)) * most + b.abs() * UNIT + 0.5) / step
    share = float(reach.detach().max()) / 2**24
    if share >= 1:
        raise ValueError(f"sums of layer {layer.name} are not exact in float32")
    return share


class _Writer:
    """Collects nodes and weights of the file."""

    def __init__(self) -> None:
        self.nodes: list[Any] = []
        self.kept: list[Any] = [
            numpy_helper.from_array(np.float32(0), "least"),
            numpy_helper.from_array(np.float32(MOST), "most"),
            numpy_helper.from_array(np.array([1, 1, 2, 2], np.float32), "double"),
        ]
        self.count = 0
        self.reach: dict[str, float] = {}

    def node(self, op: str, inputs: list[str], **how: Any) -> str:
        self.count += 1
        name = f"v{self.count}"
        self.nodes.append(helper.make_node(op, inputs, [name], **how))
        return name

    def layer(self, layer: Layer, x: str, most: int = MOST) -> str:
        self.reach[layer.name] = round(check(layer, most), 3)
        w, b = (t.detach().cpu().double() for t in on_grid(layer.conv.weight, layer.conv.bias))
        bias = b * UNIT + (0.0 if layer.head else 0.5)
        self.kept.append(numpy_helper.from_array(w.numpy().astype(np.float32), f"{layer.name}.w"))
        self.kept.append(
            numpy_helper.from_array(bias.numpy().astype(np.float32), f"{layer.name}.b")
        )
        c = layer.conv
        x = self.node(
            "Conv", [x, f"{layer.name}.w", f"{layer.name}.b"], kernel_shape=list(c.kernel_size),
            strides=list(c.stride), pads=list(c.padding) * 2, dilations=list(c.dilation),
        )  # fmt: skip
        return x if layer.head else self.clip(self.node("Floor", [x]))

    def clip(self, x: str) -> str:
        return self.node("Clip", [x, "least", "most"])


def written(model: Map) -> tuple[bytes, dict[str, float]]:
    """Return the ONNX file of a folded model, and what share of float32's whole numbers each layer uses."""
    out = _Writer()
    x = out.layer(model.first, "tones", GREATEST)
    seen = [x]
    for k, down in enumerate(model.down):
        x = out.layer(down, x)
        if k < 3:
            x = out.layer(model.same[k], x)
            seen.append(x)
    for wide in model.wide:
        x = out.clip(out.node("Add", [x, out.layer(wide, x)]))
    for k in (3, 2, 1, 0):
        x = out.node(
            "Resize", [out.layer(model.less[k], x), "", "double"], mode="nearest",
            coordinate_transformation_mode="asymmetric", nearest_mode="floor",
        )  # fmt: skip
        x = out.layer(model.join[k], out.node("Add", [x, seen[k]]), 2 * MOST)
    y = out.layer(model.head, x)
    graph = helper.make_graph(
        out.nodes, "map",
        [helper.make_tensor_value_info("tones", TensorProto.FLOAT, [1, 3, "h", "w"])],
        [helper.make_tensor_value_info(y, TensorProto.FLOAT, [1, OUTPUTS, "h", "w"])],
        out.kept,
    )  # fmt: skip
    made = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)])
    made.ir_version = 8
    onnx.checker.check_model(made)
    return made.SerializeToString(), out.reach
