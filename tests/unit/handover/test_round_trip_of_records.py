"""MODS, EAD3 and LIDO in, handover out: no field that the mapping table of the format names is
lost."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import msgspec
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from glassine.base.records.catalogue import CatalogueRow
from glassine.handover import columns
from glassine.handover.facts import ItemFacts, persistent_of
from glassine.handover.given import HandoverSection
from glassine.intake.catalogue import mapping as mappings
from makers.step_calls import read_rows

_WORD = st.text(st.sampled_from("abcÆøßŁ&<'\"7"), min_size=1, max_size=6).map(
    lambda text: f"Quay {text}"
)
_WORDS = st.lists(_WORD, min_size=1, max_size=3, unique=True)
_URI = "https://terms.example/7"
_RIGHTS = "http://rightsstatements.org/vocab/InC/1.0/"
Values = dict[str, Any]


def el(tag: str, text: str, **attributes: str) -> str:
    shown = "".join(f" {name}={quoteattr(value)}" for name, value in attributes.items())
    return f"<{tag}{shown}>{escape(text)}</{tag}>"


def many(values: Values, name: str, made: Callable[[str], str]) -> str:
    return "".join(made(each) for each in values.get(name, []))


def one(values: Values, name: str, made: Callable[[str], str]) -> str:
    return made(values[name]) if name in values else ""


def mods(v: Values) -> str:
    def coded(text: str) -> str:
        return f"<language>{el('languageTerm', text, type='code')}</language>"

    host = '<relatedItem type="host"><titleInfo>{}</titleInfo></relatedItem>'
    return f"""<mods xmlns="http://www.loc.gov/mods/v3"><identifier type="local">PEH-1</identifier>
<titleInfo>{el("title", v["title"])}</titleInfo>
{one(v, "alternative", lambda t: f'<titleInfo type="alternative">{el("title", t)}</titleInfo>')}
{one(v, "description", lambda t: el("abstract", t))}
{many(v, "creator", lambda t: f"<name>{el('namePart', t)}</name>")}
{many(v, "subjects", lambda t: f"<subject>{el('topic', t, valueURI=_URI)}</subject>")}
{many(v, "people", lambda t: f"<subject><name>{el('namePart', t)}</name></subject>")}
{many(v, "places", lambda t: f"<subject>{el('geographic', t, valueURI=_URI)}</subject>")}
{many(v, "languages", coded)}
{one(v, "genre", lambda t: el("genre", t))}
{one(v, "collection", lambda t: host.format(el("title", t)))}</mods>"""


def ead(v: Values) -> str:
    inner = f"""<c level="item"><did><unitid>PEH-1</unitid>{el("unittitle", v["title"])}
{one(v, "date", lambda t: el("unitdate", t))}{one(v, "description", lambda t: el("abstract", t))}
{many(v, "creator", lambda t: f"<origination><persname>{el('part', t)}</persname></origination>")}
{many(v, "languages", lambda t: f'<langmaterial><language langcode="{t}"/></langmaterial>')}
{one(v, "physical", lambda t: el("physdesc", t))}
{one(v, "material", lambda t: f"<physdesc>{el('physfacet', t)}</physdesc>")}</did>
{one(v, "rights_note", lambda t: f"<userestrict>{el('p', t)}</userestrict>")}<controlaccess>
{many(v, "subjects", lambda t: f'<subject identifier="{_URI}">{el("part", t)}</subject>')}
{many(v, "places", lambda t: f'<geogname identifier="{_URI}">{el("part", t)}</geogname>')}
{one(v, "genre", lambda t: f"<genreform>{el('part', t)}</genreform>")}</controlaccess></c>"""
    above = el("unittitle", v["collection"]) if "collection" in v else ""
    return (
        '<ead xmlns="http://ead3.archivists.org/schema/"><archdesc level="collection">'
        f"<did>{above}</did><dsc>{inner}</dsc></archdesc></ead>"
    )


def lido(v: Values) -> str:
    def titled(text: str) -> str:
        return f"<titleSet>{el('appellationValue', text)}</titleSet>"

    def actor(text: str) -> str:
        name = f"<nameActorSet>{el('appellationValue', text)}</nameActorSet>"
        return f"<eventActor><actorInRole><actor>{name}</actor></actorInRole></eventActor>"

    def subject(text: str) -> str:
        concept = f"{el('conceptID', _URI)}{el('term', text)}"
        return f"<subjectSet><subject><subjectConcept>{concept}</subjectConcept></subject></subjectSet>"

    def place(text: str) -> str:
        name = f"<namePlaceSet>{el('appellationValue', text)}</namePlaceSet>"
        inner = f"<place>{el('placeID', _URI)}{name}</place>"
        return f"<subjectSet><subject><subjectPlace>{inner}</subjectPlace></subject></subjectSet>"

    day = el("earliestDate", "1905") + el("latestDate", "1905")
    dated = "" if "date" not in v else (
        f"<eventDate>{el('displayDate', v['date'])}<date>{day}</date></eventDate>"
    )  # fmt: skip
    holder = one(v, "rights_holder", lambda t: (
        f"<rightsHolder><legalBodyName>{el('appellationValue', t)}</legalBodyName></rightsHolder>"
    ))  # fmt: skip
    note = one(v, "description", lambda t: el("descriptiveNoteValue", t))
    material = one(v, "material", lambda t: el("displayMaterialsTech", t))
    made = (
        f"<eventType>{el('term', 'production')}</eventType>{many(v, 'creator', actor)}{dated}"
        + (f"<eventMaterialsTech>{material}</eventMaterialsTech>" if material else "")
    )
    measures = one(v, "physical", lambda t: (
        "<objectMeasurementsWrap><objectMeasurementsSet>"
        f"{el('displayObjectMeasurements', t)}</objectMeasurementsSet></objectMeasurementsWrap>"
    ))  # fmt: skip
    rights = f"<rightsType>{el('conceptID', v['rights'])}</rightsType>" if "rights" in v else ""
    return f"""<lido xmlns="http://www.lido-schema.org">{el("lidoRecID", "rec 1", type="local")}
<descriptiveMetadata><objectClassificationWrap><objectWorkTypeWrap><objectWorkType>
{el("term", v.get("genre", "negative"))}</objectWorkType></objectWorkTypeWrap>
</objectClassificationWrap><objectIdentificationWrap><titleWrap>{titled(v["title"])}
{one(v, "alternative", titled)}</titleWrap><repositoryWrap><repositorySet>
{el("workID", "PEH-1", type="inventory number")}</repositorySet></repositoryWrap>
<objectDescriptionWrap><objectDescriptionSet>{note}</objectDescriptionSet></objectDescriptionWrap>
{measures}</objectIdentificationWrap><eventWrap><eventSet><event>{made}</event></eventSet>
</eventWrap><objectRelationWrap><subjectWrap>{many(v, "subjects", subject)}
{many(v, "places", place)}</subjectWrap></objectRelationWrap></descriptiveMetadata>
<administrativeMetadata><rightsWorkWrap><rightsWorkSet>{rights}{holder}
{one(v, "credit", lambda t: el("creditLine", t))}</rightsWorkSet></rightsWorkWrap>
</administrativeMetadata></lido>"""


_KINDS: dict[str, st.SearchStrategy[Any]] = {
    **dict.fromkeys(("creator", "subjects", "people", "places"), _WORDS),
    "languages": st.lists(st.sampled_from(["eng", "dan", "pol"]), min_size=1, unique=True),
    "material": st.sampled_from(["glass", "nitrate"]),
    "date": st.sampled_from(["1905", "c. 1905"]),
    "rights": st.just(_RIGHTS),
}
FORMS: dict[str, Callable[[Values], str]] = {"mods": mods, "ead": ead, "lido": lido}
# The number, by which each row is asked for; bounds, which come back within the date.
_ELSEWHERE = {"item_id", "identifiers", "date_earliest", "date_latest"}
_COLUMN = {
    "creator": "creators", "rights": "rights_uri", "credit": "rights_credit",
}  # fmt: skip


def named(form: str) -> list[str]:
    """Return the fields that the mapping table of a format names."""
    fields = mappings.load(mappings.find(form)).fields
    return sorted(set(fields) - _ELSEWHERE - {"title"})


def values_of(form: str) -> st.SearchStrategy[Values]:
    return st.fixed_dictionaries(
        {"title": _WORD}, optional={name: _KINDS.get(name, _WORD) for name in named(form)}
    )


def back_of(text: str, asked: list[str], folder: Path) -> Values:
    """Return {field: value} as a handover gives it back."""
    path = folder / "catalogue.xml"
    path.write_text(text, "utf-8")
    found = read_rows(path, {"catalogue": {}})
    assert not found.bad_items, found.bad_items
    (record,) = found.records.values()
    row = msgspec.convert(record, CatalogueRow)
    names = {name: f"catalogue.{_COLUMN.get(name, name)}" for name in asked}
    template = columns.template(HandoverSection(columns=("item", *names.values())))
    facts = ItemFacts("b1", "PEH-1", "done", row=row, persistent=persistent_of(row))
    (back,) = columns.rows(facts, template, "")
    return {name: back[column] for name, column in names.items()}


def check(form: str, values: Values, folder: Path) -> None:
    back = back_of(FORMS[form](values), list(values), folder)
    with_uri = {"subjects", "places"}
    if form == "ead" and {"physical", "material"} <= set(values):
        # What the film is of is a part of its physical description there.
        values = {**values, "physical": f"{values['physical']}; {values['material']}"}
    for name, value in values.items():
        wanted = [f"{each} <{_URI}>" for each in value] if name in with_uri else value
        assert back[name] == wanted, name


@pytest.mark.parametrize("form", FORMS)
def test_a_record_of_all_fields_comes_back(form: str, tmp_path: Path) -> None:
    lists = {"creator", "subjects", "people", "places"}
    fixed = {"languages": ["eng"], "material": "glass", "date": "c. 1905", "rights": _RIGHTS}
    whole = {
        name: fixed.get(name) or ([f"Two {name}", f"One {name}"] if name in lists else f"A {name}")
        for name in ("title", *named(form))
    }
    check(form, whole, tmp_path)


@pytest.mark.parametrize("form", FORMS)
@hypothesis_settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_each_field_that_the_mapping_names_comes_back(
    form: str, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    check(form, data.draw(values_of(form)), tmp_path_factory.getbasetemp())
