"""Descriptions of targets and the files of reference values that they name."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base.errors import GlassineError
from glassine.targets import description, reference
from glassine.targets.reference import Value
from makers.targets import draw_target, layouts

EXAMPLES = Path(__file__).resolve().parents[3] / "config" / "targets"


def written(folder, value):
    return layouts.write(folder / "t.yaml", value)


def problems_of(path):
    with pytest.raises(GlassineError) as caught:
        description.read(path)
    return caught.value.findings


@pytest.mark.parametrize("name", ["film-example.yaml", "print-example.yaml"])
def test_the_examples_are_sound_and_are_what_the_generator_draws(name):
    kind, scale = ("transmissive", 1.0) if "film" in name else ("reflective", 2.5)
    described = description.read(EXAMPLES / name)
    assert described.kind == kind
    assert yaml.safe_load((EXAMPLES / name).read_text("utf-8")) == layouts.description(kind, scale)


def test_values_may_be_lab_density_or_reflectance(tmp_path):
    value = layouts.description("transmissive")
    value["patches"] = [
        {"name": "a", "at": [5, 5], "size": [1, 1], "roles": ["neutral"], "density": 2.0},
        {"name": "b", "at": [5, 7], "size": [1, 1], "roles": ["neutral"], "reflectance": 0.184},
        {"name": "c", "at": [5, 9], "size": [1, 1], "roles": ["colour"], "lab": [50, 20, -30]},
    ]
    found = {patch.name: patch for patch in description.read(written(tmp_path, value)).patches}
    # ISO 5-1: density is minus the logarithm of transmittance.
    assert found["a"].xyz[1] == pytest.approx(0.01)
    assert found["b"].density == pytest.approx(0.7352, abs=1e-4)
    assert found["c"].lab == pytest.approx([50, 20, -30])
    assert found["a"].lab[1:] == pytest.approx([0, 0], abs=1e-9)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda v: v["patches"][0].update(colour="red"), "colour"),
        (lambda v: v["patches"][0].pop("density"), "has no reference value"),
        (lambda v: v["patches"][1].update(name="N01"), "stands twice"),
        (lambda v: v["edges"][0].update(at=[0.1, 0.1]), "beyond the target's outline"),
        (lambda v: v["locate"].pop("marks"), "lists none"),
        (lambda v: v["target"].update(kind="hologram"), "hologram"),
        (lambda v: v["edges"][0].update(across="diagonal"), "diagonal"),
        (lambda v: v.update(reference={"file": "../../etc/passwd", "format": "cgats"}), "path"),
        (lambda v: v.update(reference={"file": "none.txt", "format": "cgats"}), "cannot be used"),
    ],
)
def test_a_mistake_is_told_by_name(tmp_path, change, told):
    value = layouts.description("transmissive")
    change(value)
    findings = problems_of(written(tmp_path, value))
    assert any(told in finding.what for finding in findings)
    assert {finding.code for finding in findings} <= {"targets.description", "targets.reference"}


def test_all_mistakes_are_told_at_once(tmp_path):
    value = layouts.description("transmissive")
    value["patches"][0].pop("density")
    value["patches"][3].pop("density")
    value["edges"][1]["name"] = value["edges"][0]["name"]
    assert len(problems_of(written(tmp_path, value))) == 3


CGATS = """CGATS.17
ORIGINATOR "Port Ellery Harbour Archive"
ILLUMINATION_NAME "D50"
# made by hand
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 "A 1" 51.5 -10.25 3
2 B2\t20 0 0
END_DATA
"""


def test_cgats_text_gives_lab_by_name():
    found = reference.read_cgats(CGATS.encode())
    assert found == {"A 1": Value(lab=(51.5, -10.25, 3.0)), "B2": Value(lab=(20.0, 0.0, 0.0))}


def test_cgats_gives_xyz_and_density_too():
    text = CGATS.replace("LAB_L LAB_A LAB_B", "XYZ_X XYZ_Y XYZ_Z").replace(
        "51.5 -10.25 3", "96.42 100 82.49"
    )
    white = reference.read_cgats(text.encode())["A 1"].lab
    assert white == pytest.approx([100, 0, 0], abs=1e-6)
    text = "BEGIN_DATA_FORMAT\nSAMPLE_ID D_VIS\nEND_DATA_FORMAT\nBEGIN_DATA\nx 1.35\nEND_DATA\n"
    assert reference.read_cgats(text.encode()) == {"x": Value(density=1.35)}


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("2 B2\t20 0 0", "2 B2\t20 0", "row 2 has 4 values"),
        ("2 B2", '2 "A 1"', "stands twice"),
        ("20 0 0", "20 0 inf", "no number"),
        ("20 0 0", "20 0 x", "could not convert"),
        ("LAB_L LAB_A LAB_B", "SPECTRAL_NM400 SPECTRAL_NM410 SPECTRAL_NM420", "spectra"),
        ("SAMPLE_ID SAMPLE_NAME", "ROW COLUMN", "no table"),
        ('ILLUMINATION_NAME "D50"', 'WEIGHTING_FUNCTION "ILLUMINANT, D65"', "not D50"),
        ('ILLUMINATION_NAME "D50"', 'OBSERVER "10 degree"', "2 degrees"),
        ('"A 1"', '"A 1', "No closing quotation"),
    ],
)
def test_cgats_that_cannot_be_trusted_is_refused(tmp_path, old, new, told):
    path = tmp_path / "v.txt"
    path.write_text(CGATS.replace(old, new), "utf-8")
    with pytest.raises(GlassineError, match=told) as caught:
        reference.read(path, "cgats")
    assert caught.value.findings[0].code == "targets.reference"


CXF = """<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">
 <cc:Resources><cc:ObjectCollection>
  <cc:Object ObjectType="Target" Name="A1" Id="c1"><cc:ColorValues>
   <cc:ColorCIELab ColorSpecification="s"><cc:L>51.5</cc:L><cc:A>-10.25</cc:A><cc:B>3</cc:B>
   </cc:ColorCIELab></cc:ColorValues></cc:Object>
  <cc:Object ObjectType="Target" Name="B2" Id="c2"><cc:ColorValues>
   <cc:ColorCIEXYZ ColorSpecification="s"><cc:X>96.42</cc:X><cc:Y>100</cc:Y><cc:Z>82.49</cc:Z>
   </cc:ColorCIEXYZ></cc:ColorValues></cc:Object>
 </cc:ObjectCollection></cc:Resources>
 <cc:ColorSpecificationCollection><cc:ColorSpecification Id="s"><cc:TristimulusSpec>
  <cc:Illuminant>D50</cc:Illuminant><cc:Observer>2_Degree</cc:Observer>
 </cc:TristimulusSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>
</cc:CxF>
"""


def test_cxf3_gives_lab_by_name():
    # Element names of CxF3 (ISO 17972-1): value from memory.
    found = reference.read_cxf3(CXF.encode())
    assert found["A1"] == Value(lab=(51.5, -10.25, 3.0))
    assert found["B2"].lab == pytest.approx([100, 0, 0], abs=1e-6)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<cc:CxF ", '<!DOCTYPE x [<!ENTITY e "boom">]><cc:CxF '),
        ("D50</cc:Illuminant>", "D65</cc:Illuminant>"),
        ("<cc:L>51.5</cc:L>", "<cc:L>NaN</cc:L>"),
        ('Name="B2"', 'Name="A1"'),
        ("</cc:CxF>", ""),
        ("2_Degree", "10_Degree"),
    ],
)
def test_cxf3_that_cannot_be_trusted_is_refused(tmp_path, old, new):
    path = tmp_path / "v.cxf"
    path.write_text(CXF.replace(old, new), "utf-8")
    with pytest.raises(GlassineError):
        reference.read(path, "cxf3")


def test_values_come_from_the_file_that_was_described(tmp_path):
    value = layouts.description("transmissive")
    for patch in value["patches"]:
        patch.pop("density", None), patch.pop("lab", None)
    rows = "".join(f"{p['name']} {50 - n} 1 2\n" for n, p in enumerate(value["patches"]))
    text = (
        "BEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{rows}END_DATA\n"
    )
    (tmp_path / "v.txt").write_text(text)
    digest = hashlib.sha256(text.encode()).hexdigest()
    value["reference"] = {"file": "v.txt", "format": "cgats", "sha256": digest}
    found = description.read(written(tmp_path, value))
    assert found.patches[3].lab == pytest.approx([47, 1, 2])
    (tmp_path / "v.txt").write_text(text + "\n")
    assert "not the file described" in problems_of(tmp_path / "t.yaml")[0].what


@settings(max_examples=40)
@given(
    st.dictionaries(
        st.text(st.characters(codec="ascii", categories=["Lu", "Nd"]), min_size=1, max_size=6),
        st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120)),
        min_size=1,
        max_size=12,
    )
)
def test_any_table_of_lab_comes_back_as_written(values):
    rows = "".join(f'"{name}"\t{lab[0]!r} {lab[1]!r}\t{lab[2]!r}\n' for name, lab in values.items())
    text = (
        "BEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{rows}END_DATA\n"
    )
    assert reference.read_cgats(text.encode()) == {
        name: Value(lab=tuple(lab)) for name, lab in values.items()
    }


@settings(max_examples=60)
@given(st.binary(max_size=300))
def test_no_bytes_break_the_readers(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("v") / "v"
    path.write_bytes(data)
    for form in ("cgats", "cxf3"):
        with pytest.raises(GlassineError):
            reference.read(path, form)


def test_neutrals_come_lightest_first():
    described = description.read(EXAMPLES / "film-example.yaml")
    densities = [patch.density for patch in draw_target.neutrals(described)]
    assert densities == sorted(densities)
    assert np.isclose(densities[-1], 3.8)


def test_the_guide_to_the_format_names_every_key():
    text = (EXAMPLES / "README.md").read_text("utf-8")
    schema = yaml.safe_load(description.SCHEMA_PATH.read_text("utf-8"))["properties"]
    locate = schema["locate"]["properties"]
    parts = [schema, schema["target"]["properties"], schema["reference"]["properties"]]
    parts += [locate, locate["marks"]["properties"]]
    parts += [schema[name]["items"]["properties"] for name in ("patches", "edges")]
    keys = {key for part in parts for key in part}
    assert {key for key in keys if f"{key}:" not in text and f"`{key}`" not in text} == set()
