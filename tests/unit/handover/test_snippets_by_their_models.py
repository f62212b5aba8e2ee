"""Snippets of EAD3 and LIDO keep to the content models of their standards.

The models are those of EAD3 1.1 (Society of American Archivists, 2017) and LIDO 1.1 (ICOM CIDOC,
2021) for the elements that snippets hold, read from the published schemas and written down here by
hand: which children, in which order, and which attributes with which values. The schemas themselves
are asked where they are at hand (`test_snippets_by_their_schemas.py`).
"""

from __future__ import annotations

import copy
import re
from typing import Any

import pytest
from lxml import etree

from glassine.handover import snippets
from glassine.handover.facts import FrameFacts, ItemFacts
from glassine.handover.given import Snippet

BASE = "https://images.port-ellery.example/PEH-0001"
# {element: (its children in order as a pattern over "name ", {attribute: its values as a pattern});
# a name that ends in ! must stand there. Text alone is "#".
Model = dict[str, tuple[str, dict[str, str]]]
_DAO = {
    "daotype!": "borndigital|derived|unknown|otherdaotype",
    "show": "new|replace|embed|other|none",
    "actuate": "onload|onrequest|other|none",
    "href": r"\S+",
    "linkrole": r"\S+",
    "linktitle": r"\S.*",
}
_LEVEL = "class|collection|file|fonds|item|otherlevel|recordgrp|series|subfonds|subgrp|subseries"
EAD: Model = {
    "ead": ("control archdesc ", {}),
    "control": (
        "recordid (otherrecordid )*(representation )*filedesc maintenancestatus "
        "(publicationstatus )?maintenanceagency (languagedeclaration )*maintenancehistory "
        "(sources )?",
        {},
    ),
    "recordid": ("#", {}),
    "filedesc": ("titlestmt (editionstmt )?(publicationstmt )?", {}),
    "titlestmt": ("(titleproper )+(subtitle )*(author )*(sponsor )*", {}),
    "titleproper": ("#", {}),
    "maintenancestatus": (
        "#",
        {"value!": "revised|deleted|new|deletedsplit|deletedmerged|deletedreplaced|cancelled|derived"},
    ),
    "maintenanceagency": ("(agencycode )?(otheragencycode )*(agencyname )+(descriptivenote )?", {}),
    "agencyname": ("#", {}),
    "maintenancehistory": ("(maintenanceevent )+", {}),
    "maintenanceevent": ("eventtype eventdatetime agenttype agent (eventdescription )*", {}),
    "eventtype": ("#", {"value!": "created|revised|deleted|cancelled|derived|updated|unknown"}),
    "eventdatetime": ("#", {"standarddatetime": r"\d{4}(-\d\d(-\d\d(T\d\d:\d\d:\d\d(Z|[+-].+)?)?)?)?"}),
    "agenttype": ("#", {"value!": "human|machine|unknown"}),
    "agent": ("#", {}),
    "archdesc": ("did (dsc )*", {"level!": _LEVEL}),
    "dsc": ("(head )?(c )+", {}),
    "c": ("(head )?did (c )*", {"level": _LEVEL}),
    "did": ("(head )?((unitid |unittitle |dao |daoset ))+", {}),
    "unitid": ("#", {}),
    "unittitle": ("#", {}),
    "daoset": ("dao (dao )+(descriptivenote )?", {"label": r"\S.*"}),
    "dao": ("(descriptivenote )?", _DAO),
}  # fmt: skip
_LANG = {"{http://www.w3.org/XML/1998/namespace}lang!": r"[a-z]{2,3}"}
_TYPED = {"type!": r"\S.*"}
LIDO: Model = {
    "lidoWrap": ("(lido )+", {}),
    "lido": (
        "(lidoRecID )+(objectPublishedID )*(category )?(applicationProfile )?"
        "(descriptiveMetadata )+(administrativeMetadata )+",
        {},
    ),
    "lidoRecID": ("#", _TYPED),
    "objectPublishedID": ("#", _TYPED),
    "descriptiveMetadata": (
        "objectClassificationWrap objectIdentificationWrap (eventWrap )?(objectRelationWrap )?",
        _LANG,
    ),
    "objectClassificationWrap": ("objectWorkTypeWrap (classificationWrap )?", {}),
    "objectWorkTypeWrap": ("(objectWorkType )+", {}),
    "objectWorkType": ("(conceptID )*(term )*", {"type": r"\S.*"}),
    "term": ("#", {}),
    "objectIdentificationWrap": (
        "titleWrap (inscriptionsWrap )?(repositoryWrap )?(displayStateEditionWrap )?"
        "(objectDescriptionWrap )?(objectMeasurementsWrap )?",
        {},
    ),
    "titleWrap": ("(titleSet )+", {}),
    "titleSet": ("(appellationValue )+(sourceAppellation )*", {"type": r"\S.*"}),
    "appellationValue": ("#", {}),
    "repositoryWrap": ("(repositorySet )*", {}),
    "repositorySet": (
        "(displayRepository )*(repositoryName )?(workID )*(repositoryLocation )?", {"type": r"\S.*"},
    ),
    "workID": ("#", {"type": r"\S.*"}),
    "administrativeMetadata": ("(rightsWorkWrap )?recordWrap (resourceWrap )?", _LANG),
    "recordWrap": ("(recordID )+recordType (recordSource )+(recordRights )*(recordInfoSet )*", {}),
    "recordID": ("#", _TYPED),
    "recordType": ("(conceptID )*(term )*", {}),
    "recordSource": ("(legalBodyID )*(legalBodyName )*(legalBodyWeblink )*", {"type": r"\S.*"}),
    "legalBodyName": ("(appellationValue )+(sourceAppellation )*", {}),
    "resourceWrap": ("(resourceSet )*", {}),
    "resourceSet": (
        "(resourceID )*(resourceRepresentation )*(resourceType )?(resourceRelType )*"
        "(resourcePerspective )*(resourceDescription )*(resourceDateTaken )?(resourceSource )*"
        "(rightsResource )*",
        {},
    ),
    "resourceID": ("#", _TYPED),
    "resourceRepresentation": ("linkResource (resourceMeasurementsSet )*", {"type": r"\S.*"}),
    "linkResource": ("#", {"formatResource": r"[a-z]+/\S+"}),
    "resourceDescription": ("#", {"type": r"\S.*"}),
}  # fmt: skip
MODELS: dict[Snippet, tuple[str, Model, str]] = {
    "ead": (snippets.EAD, EAD, ""),
    "lido": (snippets.LIDO, LIDO, f"{{{snippets.LIDO}}}"),
}


def wrong(root: Any, kind: Snippet) -> list[str]:
    """Return what does not keep to the models. Attributes of LIDO are of its namespace, those of
    EAD3 of none."""
    space, models, attribute_space = MODELS[kind]
    found = []
    for element in root.iter():
        name = etree.QName(element)
        if name.namespace != space or name.localname not in models:
            found.append(f"{name.localname} is no element here")
            continue
        children, attributes = models[name.localname]
        inside = "".join(f"{etree.QName(child).localname} " for child in element)
        if not re.fullmatch("" if children == "#" else children, inside):
            found.append(f"{name.localname} holds {inside!r}")
        if children == "#" and "value!" not in attributes and not (element.text or "").strip():
            found.append(f"{name.localname} is empty")
        found += _wrong_attributes(element, attributes, attribute_space)
    return found


def _wrong_attributes(element: Any, attributes: dict[str, str], space: str) -> list[str]:
    names = {
        (key if key.startswith("{") else f"{space}{key}").rstrip("!"): (key.endswith("!"), values)
        for key, values in attributes.items()
    }
    found = [f"{element.tag} lacks {key}" for key, (must, _) in names.items()
             if must and key not in element.attrib]  # fmt: skip
    for key, value in element.attrib.items():
        if key not in names or not re.fullmatch(names[key][1], value):
            found.append(f"{element.tag} has {key}={value!r}")
    return found


def item(number: int, frames: int, manifest: bool = True) -> ItemFacts:
    made = tuple(
        FrameFacts(
            master=f"PEH-{number:04d}.tif", index=n, label=f"frame {n} & <so on>", width_px=180,
            height_px=120, ppi=4000.0, width_mm=1.1, height_mm=0.8,
            access_url=f"{BASE}/access/{n}.jpg" if n != 2 else "",
            thumbnail_url=f"{BASE}/thumbs/{n}.jpg",
        )
        for n in range(1, frames + 1)
    )  # fmt: skip
    manifest_url = f"{BASE}/manifest.json" if manifest else ""
    return ItemFacts("b1", f"PEH-{number:04d}", "done", manifest_url=manifest_url, frames=made)


def written(kind: Snippet, *items: ItemFacts) -> Any:
    content = snippets.document(kind, list(items), "b1, h0001", "2026-03-18T08:55:00Z")
    assert content is not None
    return etree.fromstring(content)


@pytest.mark.parametrize("kind", ["ead", "lido"])
@pytest.mark.parametrize("shape", [(0, True), (1, True), (1, False), (3, True), (3, False)])
def test_a_snippet_keeps_to_the_models(kind: Snippet, shape: tuple[int, bool]) -> None:
    root = written(kind, item(1, *shape), item(2, 1))
    assert wrong(root, kind) == []


@pytest.mark.parametrize("kind", ["ead", "lido"])
def test_the_models_tell_what_is_not_as_it_should_be(kind: Snippet) -> None:
    root = written(kind, item(1, 3))
    parents = [each for each in root.iter() if len({child.tag for child in each}) > 1]
    for place in range(len(parents)):
        changed = copy.deepcopy(root)
        holder = [each for each in changed.iter() if len({child.tag for child in each}) > 1][place]
        if etree.QName(holder).localname == "did":
            continue  # its children stand in any order
        holder.append(holder[0])
        assert wrong(changed, kind), etree.QName(holder).localname
    for name in ("daotype", f"{{{snippets.LIDO}}}type"):
        for element in root.iter():
            if name in element.attrib:
                del element.attrib[name]
    assert any("lacks" in each for each in wrong(root, kind))
