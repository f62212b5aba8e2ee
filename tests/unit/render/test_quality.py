"""Measures of a frame against what was put into it."""

from __future__ import annotations

from pathlib import Path

import cv2
import jsonschema
import msgspec
import numpy as np
import pytest

from glassine.base import files, premis_event, settings
from glassine.base.errors import GlassineError
from glassine.base.model import Facts, Frame
from glassine.base.records.quality import Measure
from glassine.masters import colour
from glassine.render import quality, tone, toning
from glassine.render.given import QualitySection, ToneSection
from glassine.render.quality import (
    area,
    detail,
    edges,
    limits,
    patches,
    registration,
    spectra,
)
from makers.film import pictures
from makers.tone import captures, measures, sources

SECTION = msgspec.convert(settings.load({})["tone"], ToneSection)
SETTINGS = msgspec.convert(settings.load({})["quality"], QualitySection)


def patch_of(density: np.ndarray) -> patches.Patch:
    d = np.repeat(density[..., None], 3, axis=2).astype(np.float32)
    codes = np.round(10.0**-d * 65535).astype(np.uint16)
    return patches.Patch(0, 0, codes, d)


def slanted_edges(sigma: float, grain: float, seed: int = 0) -> patches.Patch:
    """Draw a patch with straight edges, finely sampled, blurred by `sigma` px, with grain."""
    fine, side = 4, 256
    y, x = np.mgrid[0 : side * fine, 0 : side * fine] / fine
    shape = 0.5 + 0.4 * np.sign(np.sin((x + 0.12 * y) / 9)) * (np.sin(y / 60 + 0.3) > 0)
    shape = cv2.GaussianBlur(shape, (0, 0), max(sigma, 0.01) * fine)
    small = cv2.resize(shape, (side, side), interpolation=cv2.INTER_AREA)
    noise = np.random.default_rng(seed).normal(0, grain, small.shape)
    return patch_of(small + noise)


@pytest.mark.parametrize("grain", [0.0, 0.01, 0.03])
def test_sharpness_ranks_a_series_of_blurs_through_grain(grain: float) -> None:
    sigmas = [0.3, 0.5, 0.75, 1.0, 1.4, 1.8, 2.4, 3.0]
    found = [edges.blur(edges.of_patches([slanted_edges(sigma, grain)], 1)) for sigma in sigmas]
    assert None not in found
    assert found == sorted(found)


def test_edge_blur_is_near_the_true_blur() -> None:
    for sigma in (0.6, 1.0, 2.0):
        seen = edges.of_patches([slanted_edges(sigma, 0.005)], 1)
        found = edges.blur(seen)
        assert len(seen.variance) >= 30
        # The pixel's own square adds 1/12 px^2.
        assert found == pytest.approx(np.hypot(sigma, 12**-0.5), rel=0.2)


def test_no_edge_means_no_sharpness() -> None:
    flat = patch_of(np.random.default_rng(1).normal(0.8, 0.01, (256, 256)))
    assert edges.blur(edges.of_patches([flat], 1)) is None
    assert edges.blur(edges.of_patches([], 1)) is None


def test_noise_is_the_rms_in_flat_parts() -> None:
    y, x = np.mgrid[0:256, 0:256] / 256
    d = 0.5 + 0.3 * x + 0.2 * y + np.random.default_rng(2).normal(0, 0.02, x.shape)
    assert detail.noise([patch_of(d)], 1) == pytest.approx(0.02, rel=0.12)


@pytest.mark.parametrize("shift", [(0.7, 0.0), (0.0, -0.4), (1.5, 0.8)])
def test_misregistration_is_the_shift_between_channels(shift: tuple[float, float]) -> None:
    base = slanted_edges(0.8, 0.004).density[..., 1]
    blocks = cv2.GaussianBlur(np.random.default_rng(3).normal(size=base.shape), (0, 0), 3)
    base = (base + 2 * blocks).astype(np.float32)
    moved = cv2.warpAffine(
        base,
        np.array([[1, 0, shift[0]], [0, 1, shift[1]]], np.float32),
        base.shape,
        flags=cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REFLECT,
    )
    d = np.stack([base, base, moved], axis=2)
    found = registration.misregistration([patches.Patch(0, 0, np.zeros(d.shape, np.uint16), d)])
    assert found == pytest.approx(np.hypot(*shift), abs=0.12)


def test_grey_masters_have_no_misregistration() -> None:
    d = np.zeros((64, 64, 1), np.float32)
    assert registration.misregistration([patches.Patch(0, 0, d.astype(np.uint16), d)]) is None


@pytest.mark.parametrize("bits", [8, 10, 12, 14, 16])
def test_bits_really_used_are_counted(bits: int) -> None:
    light = np.random.default_rng(bits).uniform(0.1, 0.8, (600, 600, 3))
    codes = np.round(light * (2**bits - 1)) * (65535 / (2**bits - 1))
    patch = patches.Patch(0, 0, np.round(codes).astype(np.uint16), light.astype(np.float32))
    assert detail.bits_used([patch], 16) == pytest.approx(bits, abs=0.3)


def test_an_enlarged_picture_uses_less_than_its_sampling() -> None:
    rng = np.random.default_rng(4)
    clean = slanted_edges(0.7, 0.01).density[..., 1]
    small = cv2.resize(clean, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    small = small + rng.normal(0, 0.01, small.shape).astype(np.float32)
    large = cv2.resize(small, clean.shape[::-1], interpolation=cv2.INTER_CUBIC)
    used = [
        spectra.sampling_used([patch_of(d)], 1, spectra.quiet(spectra.powers([patch_of(d)], 1)))
        for d in (clean, large)
    ]
    assert used[0] == 100
    assert used[1] is not None
    assert used[1] < 80


def test_sharp_grain_shows_that_a_soft_picture_is_a_sharp_capture() -> None:
    assert spectra.capture_blur(2.4, 0.9) == 2.4
    assert spectra.is_sharp(None, 0.9)
    assert not spectra.is_sharp(None, 2.6)


def test_grain_alone_tells_no_misregistration() -> None:
    rng = np.random.default_rng(7)
    d = cv2.GaussianBlur(0.5 + rng.normal(0, 0.03, (256, 256, 3)), (0, 0), 0.7)
    codes = np.round(10.0**-d * 65535).astype(np.uint16)
    assert registration.misregistration([patches.Patch(0, 0, codes, d.astype(np.float32))]) is None


@pytest.mark.parametrize("view", ["basin", "quay", "launch", "snow"])
def test_windows_masts_and_rigging_are_no_dust(view: str) -> None:
    rng = np.random.default_rng(6)
    light = np.clip(pictures.draw(view, 1000, 667, 5) / 0.95, 0, 1)
    shown = colour.linear_to_srgb(light) * 255 + rng.normal(0, 2, light.shape)
    clean = np.clip(shown, 0, 255).astype(np.uint8)
    before = area.dust(clean)
    for x, y in rng.uniform(10, [990, 657], (200, 2)):
        cv2.circle(clean, (int(x), int(y)), 2, (255, 255, 255), -1)
    assert before <= 60
    assert area.dust(clean) > before + 40


def test_specks_are_counted() -> None:
    rng = np.random.default_rng(5)
    shown = np.full((400, 600, 3), 120.0) + rng.normal(0, 2, (400, 600, 1))
    for number in range(12):
        cv2.circle(shown, (40 + 45 * number, 100 + 15 * number), 2, (250, 250, 250), -1)
    assert area.dust(np.clip(shown, 0, 255).astype(np.uint8)) == 12


def test_skew_left_is_what_the_angle_does_not_take_away() -> None:
    turn = np.radians(1.5)
    corners = np.array([(0, 0), (300, 0), (300, 200), (0, 200)], float)
    turned = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    quad = tuple(map(tuple, turned))
    assert area.skew_left(Frame(1, quad, 1.5, "negative", "colour")) == pytest.approx(0, abs=1e-9)
    assert area.skew_left(Frame(1, quad, 1.0, "negative", "colour")) == pytest.approx(0.5)


@pytest.mark.parametrize("fault", captures.FAULTS)
def test_a_fault_is_found_by_its_measure(fault: str) -> None:
    found = measures.measured(captures.capture(1, fault), False)
    assert found[measures.MEASURE_OF[fault]].verdict != "pass"


def test_a_clean_master_raises_no_alarm() -> None:
    found = measures.measured(captures.capture(1, None), False)
    assert [name for name in measures.MEASURE_OF.values() if found[name].verdict != "pass"] == []


def test_part_of_the_frame_clipped_is_found() -> None:
    codes = captures.capture(3, None)
    e = captures.EDGE
    codes[e + 50 : e + 250, e + 100 : e + 400] = 65535
    assert measures.measured(codes, False)["clipped_highlights"].verdict != "pass"


def test_measures_keep_the_schema_and_are_the_same_every_time() -> None:
    codes = captures.capture(2, None)
    found = [msgspec.structs.asdict(value) for value in measures.measured(codes, False).values()]
    assert found == [
        msgspec.structs.asdict(value) for value in measures.measured(codes, False).values()
    ]
    schema = files.read_schema("quality")
    frame = {"master": "a.tif", "index": 1, "measures": found, "verdict": "pass"}
    event = premis_event.event("derivation", {})
    jsonschema.validate({"item": "a", "event": event, "frames": [frame]}, schema)


@pytest.mark.parametrize(("width", "height", "bands"), [(40, 30, 3), (200, 20, 1), (64, 64, 3)])
def test_tiny_masters_are_measured_without_patches(width: int, height: int, bands: int) -> None:
    codes = np.random.default_rng(6).integers(0, 65536, (height, width, bands)).astype(np.uint16)
    source = sources.ArraySource(codes)
    shape = sources.geometry(source, (0, 0, width, height), "monochrome")
    plan = tone.plan(source, shape, Facts(), None, SECTION)[0]
    rendered = toning.apply(codes, plan, None)
    sight = quality.Sight(source, shape, shape.frames[0], plan, Facts(), rendered)
    values = quality.measure(sight, SETTINGS)
    assert {value.name for value in values} >= {"clipped_highlights", "edge_blur", "noise"}


@pytest.mark.parametrize(("level", "limit"), [(1, 1.2), (2, 0.8), (3, 0.5), (4, 0.33)])
def test_limits_of_the_levels_are_the_published_ones(level: int, limit: float) -> None:
    # FADGI 2016, negatives and transparencies 35 mm to 4 x 5: colour channel misregistration.
    section = msgspec.structs.replace(SETTINGS, level=level)
    just, over = limit - 0.01, limit + 0.01
    assert limits.judged("misregistration", just, "px", "film_small", section).verdict == "pass"
    assert limits.judged("misregistration", over, "px", "film_small", section).verdict == "review"


@pytest.mark.parametrize(("level", "ppi"), [(1, 500), (2, 1000), (3, 1500), (4, 2000)])
def test_large_film_needs_the_published_resolution(level: int, ppi: int) -> None:
    # FADGI 2016, negatives and transparencies larger than 4 x 5: resolution.
    section = msgspec.structs.replace(SETTINGS, level=level)
    assert limits.judged("effective_ppi", ppi, "ppi", "film_large", section).verdict == "pass"
    assert limits.judged("effective_ppi", ppi - 9, "ppi", "film_large", section).verdict != "pass"


def test_what_was_agreed_for_a_batch_stands_in_place_of_the_table() -> None:
    found = limits.judged("effective_ppi", 240, "ppi", "film_small", SETTINGS, 200)
    assert (found.verdict, found.limit) == ("pass", ">= 200 ppi")
    assert "batch.yaml" in found.source
    assert limits.judged("effective_ppi", 199, "ppi", "film_small", SETTINGS, 200).verdict != "pass"


def test_every_limit_names_its_source() -> None:
    for name, row in limits._table(limits.LIMITS_PATH).items():
        assert len(row["source"]) > 10, name


def test_a_table_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    path = tmp_path / "limits.yaml"
    path.write_text("limits:\n  noise: {unit: D, direction: sideways, pass: {}, source: x}\n")
    with pytest.raises(GlassineError, match="noise"):
        limits.limit("noise", "print", msgspec.structs.replace(SETTINGS, limits=str(path)))


def test_what_could_not_be_measured_is_not_measured() -> None:
    assert limits.judged("edge_blur", None, "px", "print", SETTINGS).verdict == "not measured"
    assert limits.judged("base_density", None, "D", "print", SETTINGS).verdict == "pass"


def test_the_worst_measure_is_the_frames_verdict() -> None:
    def one(found: str) -> Measure:
        return Measure("x", 1, "", None, found, "")  # type: ignore[arg-type]

    assert quality.verdict([one("pass"), one("fail"), one("review")]) == "fail"
    assert quality.verdict([one("pass"), one("not measured")]) == "not measured"
    assert quality.verdict([one("review"), one("not measured")]) == "review"
    assert quality.verdict([]) == "pass"


def test_light_falloff_is_read_from_the_base() -> None:
    codes = captures.capture(5, None)
    height, width = codes.shape[:2]
    ramp = np.linspace(1.0, 0.8, width)[None, :, None]
    codes = np.round(codes * ramp).astype(np.uint16)
    source = sources.ArraySource(codes)
    encoding = colour.encoding_of(sources.linear_profile(), None, 16, 3)
    found = area.light_falloff(source, measures.geometry(source, False), encoding)
    assert found == pytest.approx(20, abs=6)
    assert height < width


def test_what_is_no_base_is_no_falloff() -> None:
    codes = captures.capture(5, None)
    clean = sources.ArraySource(codes)
    encoding = colour.encoding_of(sources.linear_profile(), None, 16, 3)
    shape = measures.geometry(clean, False)
    codes = codes.copy()
    codes[300:500, :60] = codes[300:500, :60] // 3  # a label over part of one edge
    found = area.light_falloff(sources.ArraySource(codes), shape, encoding)
    assert found == pytest.approx(area.light_falloff(clean, shape, encoding), abs=0.5)
    assert found is not None
    assert found < 3
