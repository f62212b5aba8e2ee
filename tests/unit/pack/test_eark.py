"""E-ARK packages against the requirements of CSIP 2.2.0 and SIP 2.2.0, row by row.

Each obligatory row has a check here (XPath over the package's METS, or over that of its
representations) or a reason why it does not apply. Where the official tables lie beside the
project, the rows are taken from them, so that none is forgotten.
"""

from __future__ import annotations

import importlib.util
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from glassine.base import files, hashing, settings
from glassine.deliver import bag, validation
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items

STANDARDS = settings.PROJECT.parent / "shared" / "standards"
SCHEMAS = settings.PROJECT.parent / "shared" / "schemas"
NS = {
    "m": "http://www.loc.gov/METS/",
    "xlink": "http://www.w3.org/1999/xlink",
    "csip": "https://DILCIS.eu/XML/METS/CSIPExtensionMETS",
    "premis": "http://www.loc.gov/premis/v3",
}
ITEM = made_items.CATALOGUE["item"]


BY_OPTION = {
    "the usual pictures": {},
    "every picture by option": {
        "render": {"alternates": ["webp", "avif"], "crop_tiff": "captured"},
        "iiif": {"form": "pyramid", "tile_px": 64},
    },
}


@pytest.fixture(scope="module", params=BY_OPTION)
def bag_dir(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("eark")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        deliveries.night(root, "eark", more=BY_OPTION[request.param])
    return root / "deliveries" / "b1"


@pytest.fixture(scope="module")
def sip(bag_dir: Path) -> Path:
    return bag_dir / "data" / ITEM


class Mets:
    """A METS document and the folder its references start from."""

    def __init__(self, path: Path) -> None:
        self.folder = path.parent
        self.root = etree.parse(str(path)).getroot()

    def all(self, path: str) -> list[Any]:
        found = self.root.xpath(path, namespaces=NS)
        assert isinstance(found, list)
        return found

    def one(self, path: str) -> Any:
        (found,) = self.all(path)
        return found

    def each(self, path: str, condition: str) -> bool:
        """Whether there is such a node, and the condition holds for all of them."""
        return bool(self.all(path)) and not self.all(f"{path}[not({condition})]")


TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
SHA256 = re.compile(r"[0-9a-f]{64}")
DMD, DIGI, RIGHTS = "//m:dmdSec/m:mdRef", "//m:digiprovMD/m:mdRef", "//m:rightsMD/m:mdRef"
FILE = "//m:fileGrp/m:file"
CSIP_MAP = "/m:mets/m:structMap[@LABEL='CSIP']"
SOFTWARE = "//m:metsHdr/m:agent[@ROLE='CREATOR'][@TYPE='OTHER'][@OTHERTYPE='SOFTWARE']"
SUBMITTER = "//m:metsHdr/m:agent[@ROLE='CREATOR'][@TYPE='ORGANIZATION']"
REPRESENTED = f"{CSIP_MAP}/m:div/m:div[starts-with(@LABEL,'Representations/')]"


def unique_ids(mets: Mets, path: str) -> bool:
    ids = mets.all(f"{path}/@ID")
    every = mets.all("//@ID")
    return (
        len(ids) == len(mets.all(path)) > 0
        and len(every) == len(set(every))
        and all(re.fullmatch(r"[A-Za-z_][\w.-]*", name) for name in ids)
    )


def times(mets: Mets, path: str) -> bool:
    found = mets.all(path)
    return bool(found) and all(TIME.fullmatch(text) for text in found)


def digests(mets: Mets, path: str) -> bool:
    """Whether CHECKSUM, CHECKSUMTYPE and SIZE are those of the file referred to."""
    nodes = mets.all(path)
    for node in nodes:
        place = node if node.tag.endswith("mdRef") else node.find("m:FLocat", NS)
        found = hashing.of_file(mets.folder / place.get(f"{{{NS['xlink']}}}href"))
        if node.get("CHECKSUMTYPE") != "SHA-256" or node.get("CHECKSUM") != found.sha256:
            return False
        if node.get("SIZE") != str(found.bytes):
            return False
    return bool(nodes)


def section_rows(first: int, path: str) -> dict[str, Any]:
    """Return the nine rows that CSIP has for each kind of mdRef, from `first` on."""
    checks = [
        lambda m: m.each(path, "@LOCTYPE='URL'"),
        lambda m: m.each(path, "@xlink:type='simple'"),
        lambda m: digests(m, path),  # href: the file is there
        lambda m: m.each(path, "@MDTYPE='MODS' or @MDTYPE='DC' or @MDTYPE='PREMIS'"),
        lambda m: m.each(path, "@MIMETYPE='application/xml'"),
        lambda m: digests(m, path),
        lambda m: times(m, f"{path}/@CREATED"),
        lambda m: m.each(path, "string-length(@CHECKSUM)=64") and digests(m, path),
        lambda m: m.each(path, "@CHECKSUMTYPE='SHA-256'"),
    ]
    return {f"CSIP{first + number}": check for number, check in enumerate(checks)}


# Over the METS of the package.
CHECKS: dict[str, Any] = {
    "CSIP1": lambda m: m.root.get("OBJID") == m.folder.name,
    "CSIP2": lambda m: m.root.get("TYPE") == "Photographs – Digital",
    "CSIP6": lambda m: m.root.get("PROFILE", "").startswith("https://earksip.dilcis.eu/profile/"),
    "CSIP117": lambda m: len(m.all("/m:mets/m:metsHdr")) == 1,
    "CSIP7": lambda m: times(m, "/m:mets/m:metsHdr/@CREATEDATE"),
    "CSIP9": lambda m: m.one("//m:metsHdr/@csip:OAISPACKAGETYPE") == "SIP",
    "CSIP10": lambda m: len(m.all("//m:metsHdr/m:agent")) >= 1,
    "CSIP11": lambda m: len(m.all(SOFTWARE)) == 1,
    "CSIP12": lambda m: len(m.all("//m:metsHdr/m:agent[@TYPE='OTHER']")) == 1,
    "CSIP13": lambda m: len(m.all("//m:metsHdr/m:agent[@OTHERTYPE='SOFTWARE']")) == 1,
    "CSIP14": lambda m: m.one(f"{SOFTWARE}/m:name/text()") == "Glassine",
    "CSIP15": lambda m: bool(m.one(f"{SOFTWARE}/m:note/text()")),
    "CSIP16": lambda m: m.one(f"{SOFTWARE}/m:note/@csip:NOTETYPE") == "SOFTWARE VERSION",
    "CSIP18": lambda m: unique_ids(m, "//m:dmdSec"),
    "CSIP19": lambda m: times(m, "//m:dmdSec/@CREATED"),
    **section_rows(22, DMD),
    "CSIP33": lambda m: unique_ids(m, "//m:digiprovMD"),
    **section_rows(36, DIGI),
    "CSIP46": lambda m: unique_ids(m, "//m:rightsMD"),
    **section_rows(49, RIGHTS),
    "CSIP59": lambda m: unique_ids(m, "//m:fileSec"),
    "CSIP60": lambda m: len(m.all("//m:fileGrp[@USE='Documentation']/m:file")) >= 1,
    "CSIP113": lambda m: len(m.all("//m:fileGrp[@USE='Schemas']/m:file")) >= 1,
    "CSIP114": lambda m: len(m.all("//m:fileGrp[starts-with(@USE,'Representations')]/m:file")) >= 1,
    "CSIP64": lambda m: m.each("//m:fileGrp", "@USE"),
    "CSIP65": lambda m: unique_ids(m, "//m:fileGrp"),
    "CSIP66": lambda m: m.each("//m:fileGrp", "m:file"),
    "CSIP67": lambda m: unique_ids(m, FILE),
    "CSIP68": lambda m: m.each(FILE, "contains(@MIMETYPE,'/')"),
    "CSIP69": lambda m: digests(m, FILE),
    "CSIP70": lambda m: times(m, f"{FILE}/@CREATED"),
    "CSIP71": lambda m: digests(m, FILE),
    "CSIP72": lambda m: m.each(FILE, "@CHECKSUMTYPE='SHA-256'"),
    "CSIP76": lambda m: m.each(FILE, "count(m:FLocat)=1"),
    "CSIP77": lambda m: m.each(f"{FILE}/m:FLocat", "@LOCTYPE='URL'"),
    "CSIP78": lambda m: m.each(f"{FILE}/m:FLocat", "@xlink:type='simple'"),
    "CSIP79": lambda m: digests(m, FILE),
    "CSIP80": lambda m: len(m.all(CSIP_MAP)) == 1,
    "CSIP81": lambda m: m.one(CSIP_MAP).get("TYPE") == "PHYSICAL",
    "CSIP82": lambda m: len(m.all(CSIP_MAP)) == 1,
    "CSIP83": lambda m: unique_ids(m, CSIP_MAP),
    "CSIP84": lambda m: len(m.all(f"{CSIP_MAP}/m:div")) == 1,
    "CSIP85": lambda m: unique_ids(m, f"{CSIP_MAP}/m:div"),
    "CSIP88": lambda m: len(m.all(f"{CSIP_MAP}/m:div/m:div[@LABEL='Metadata']")) == 1,
    "CSIP89": lambda m: unique_ids(m, f"{CSIP_MAP}/m:div/m:div[@LABEL='Metadata']"),
    "CSIP90": lambda m: len(m.all(f"{CSIP_MAP}/m:div/m:div[@LABEL='Metadata']")) == 1,
    "CSIP94": lambda m: unique_ids(m, f"{CSIP_MAP}/m:div/m:div[@LABEL='Documentation']"),
    "CSIP95": lambda m: len(m.all(f"{CSIP_MAP}/m:div/m:div[@LABEL='Documentation']")) == 1,
    "CSIP116": lambda m: points(m, "Documentation", "Documentation"),
    "CSIP98": lambda m: unique_ids(m, f"{CSIP_MAP}/m:div/m:div[@LABEL='Schemas']"),
    "CSIP99": lambda m: len(m.all(f"{CSIP_MAP}/m:div/m:div[@LABEL='Schemas']")) == 1,
    "CSIP118": lambda m: points(m, "Schemas", "Schemas"),
    "CSIP106": lambda m: unique_ids(m, REPRESENTED),
    "CSIP107": lambda m: (
        m.all(f"{REPRESENTED}/@LABEL") == ["Representations/masters", "Representations/access"]
    ),
    "CSIP108": lambda m: (
        m.all(f"{REPRESENTED}/m:mptr/@xlink:title")
        == m.all("//m:fileGrp[starts-with(@USE,'Representations')]/@ID")
    ),
    "CSIP109": lambda m: m.each(REPRESENTED, "count(m:mptr)=1"),
    "CSIP110": lambda m: all(
        (m.folder / href).is_file() and href.endswith("/METS.xml")
        for href in m.all(f"{REPRESENTED}/m:mptr/@xlink:href")
    ),
    "CSIP111": lambda m: m.each(f"{REPRESENTED}/m:mptr", "@xlink:type='simple'"),
    "CSIP112": lambda m: m.each(f"{REPRESENTED}/m:mptr", "@LOCTYPE='URL'"),
    "SIP2": lambda m: (
        m.root.get("PROFILE") == "https://earksip.dilcis.eu/profile/E-ARK-SIP-v2-2-0.xml"
    ),
    "SIP4": lambda m: m.one("//m:metsHdr/@csip:OAISPACKAGETYPE") == "SIP",
    "SIP15": lambda m: len(m.all(SUBMITTER)) == 1,
    "SIP16": lambda m: m.one(f"{SUBMITTER}/@ROLE") == "CREATOR",
    "SIP17": lambda m: m.one(f"{SUBMITTER}/@TYPE") == "ORGANIZATION",
    "SIP18": lambda m: m.one(f"{SUBMITTER}/m:name/text()") == "Port Ellery Harbour Archive",
    "SIP20": lambda m: m.one(f"{SUBMITTER}/m:note/@csip:NOTETYPE") == "IDENTIFICATIONCODE",
}
# Over the METS of each representation, which lists its content itself.
OF_REPRESENTATIONS: dict[str, Any] = {
    "CSIP102": lambda m: unique_ids(m, f"{CSIP_MAP}/m:div/m:div[@LABEL='Representations']"),
    "CSIP103": lambda m: len(m.all(f"{CSIP_MAP}/m:div/m:div[@LABEL='Representations']")) == 1,
    "CSIP119": lambda m: points(m, "Representations", f"Representations/{m.folder.name}/data"),
}
NO_CREATOR = "SIP9 is optional: the package names no archival creator beside the catalogue's"
NO_CONTACT = "SIP21 is optional: no personal names are delivered"
NO_KEEPER = "SIP26 is optional: the repository that will preserve the package names itself"
DOES_NOT_APPLY = {
    "SIP10": NO_CREATOR,
    "SIP11": NO_CREATOR,
    "SIP12": NO_CREATOR,
    "SIP14": NO_CREATOR,
    "SIP22": NO_CONTACT,
    "SIP23": NO_CONTACT,
    "SIP24": NO_CONTACT,
    "SIP27": NO_KEEPER,
    "SIP28": NO_KEEPER,
    "SIP29": NO_KEEPER,
    "SIP31": NO_KEEPER,
}
# Rows that hold for every METS document, those of the representations too.
EVERYWHERE = [
    "CSIP1", "CSIP2", "CSIP6", "CSIP117", "CSIP7", "CSIP9", "CSIP10", "CSIP11", "CSIP12", "CSIP13",
    "CSIP14", "CSIP15", "CSIP16", "CSIP59", "CSIP64", "CSIP65", "CSIP66", "CSIP67", "CSIP68",
    "CSIP69", "CSIP70", "CSIP71", "CSIP72", "CSIP76", "CSIP77", "CSIP78", "CSIP79", "CSIP80",
    "CSIP81", "CSIP82", "CSIP83", "CSIP84", "CSIP85", "CSIP88", "CSIP89", "CSIP90",
]  # fmt: skip


def points(mets: Mets, label: str, use: str) -> bool:
    ids = mets.all(f"{CSIP_MAP}/m:div/m:div[@LABEL='{label}']/m:fptr/@FILEID")
    return bool(ids) and ids == mets.all(f"//m:fileGrp[@USE='{use}']/@ID")


@pytest.mark.parametrize("row", CHECKS)
def test_package_meets(row: str, sip: Path) -> None:
    assert CHECKS[row](Mets(sip / "METS.xml"))


@pytest.mark.parametrize("name", ["masters", "access"])
@pytest.mark.parametrize("row", [*OF_REPRESENTATIONS, *EVERYWHERE])
def test_representation_meets(row: str, name: str, sip: Path) -> None:
    check = OF_REPRESENTATIONS.get(row) or CHECKS[row]
    assert check(Mets(sip / "representations" / name / "METS.xml"))


@pytest.mark.parametrize(("table", "count"), [("CSIP", 86), ("SIP", 18)])
def test_no_obligatory_row_is_forgotten(table: str, count: int) -> None:
    path = STANDARDS / f"{table}_requirements_2.2.0.tsv"
    if not path.exists():
        pytest.skip(f"{path} is not there: the official table of requirements")
    rows = [line.split("\t") for line in path.read_text("utf-8").splitlines()]
    obligatory = {row[0] for row in rows if row[1:2] == ["MUST"]}
    assert len(obligatory) == count
    known = set(CHECKS) | set(OF_REPRESENTATIONS) | set(DOES_NOT_APPLY)
    assert obligatory <= known
    assert not set(DOES_NOT_APPLY) & set(CHECKS)


@pytest.mark.parametrize(
    ("xpath", "attribute", "value", "rows"),
    [
        ("/m:mets", "TYPE", "Photographs - Digital", {"CSIP2"}),
        ("/m:mets", "OBJID", "PEH-0009", {"CSIP1"}),
        ("//m:metsHdr", "CREATEDATE", "today", {"CSIP7"}),
        (
            "//m:fileGrp[@USE='Schemas']",
            "USE",
            "Plans",
            {"CSIP113", "CSIP118"},
        ),
        (
            "//m:dmdSec/m:mdRef",
            "SIZE",
            "1",
            {"CSIP24", "CSIP27", "CSIP29"},
        ),
        (
            "//m:agent/m:note",
            "{https://DILCIS.eu/XML/METS/CSIPExtensionMETS}NOTETYPE",
            "VERSION",
            {"CSIP16"},
        ),
    ],
)
def test_checks_can_fail(xpath: str, attribute: str, value: str, rows: set[str], sip: Path) -> None:
    mets = Mets(sip / "METS.xml")
    mets.all(xpath)[0].set(attribute, value)
    assert {row for row, check in CHECKS.items() if not check(mets)} == rows


def test_folders(sip: Path) -> None:
    # CSIPSTR1 one root folder, CSIPSTR4 METS.xml in it, CSIPSTR9 representations, in lower case
    assert [path.name for path in sip.parent.iterdir()] == [ITEM]
    assert {path.name for path in sip.iterdir()} == {
        "METS.xml",
        "metadata",
        "documentation",
        "schemas",
        "representations",
    }


def test_every_file_is_named_by_a_mets(sip: Path) -> None:
    named = set()
    for path in [sip / "METS.xml", *sip.glob("representations/*/METS.xml")]:
        mets = Mets(path)
        for href in mets.all("//m:FLocat/@xlink:href | //m:mdRef/@xlink:href"):
            named.add((mets.folder / href).resolve())
    there = {path.resolve() for path in sip.rglob("*") if path.is_file()}
    assert there - named == {(sip / "METS.xml").resolve()}


def test_references_resolve(sip: Path) -> None:
    for path in sip.rglob("METS.xml"):
        mets = Mets(path)
        ids = set(mets.all("//@ID"))
        for text in mets.all("//@ADMID | //@DMDID | //@FILEID"):
            assert set(text.split()) <= ids


def test_premis_files_hold_what_the_record_holds(sip: Path) -> None:
    premis = etree.parse(str(sip / "metadata/preservation/premis.xml")).getroot()
    record = etree.parse(str(sip / "metadata/other/item-record.xml")).getroot()
    for tag in ("object", "event", "agent"):
        path = f"//premis:{tag}"
        assert len(premis.findall(f"premis:{tag}", NS)) == len(
            record.xpath(path, namespaces=NS)  # type: ignore[arg-type]
        )


def test_delivery_of_it_is_whole_and_repeats(bag_dir: Path, tmp_path: Path) -> None:
    assert bag.validate(bag_dir) == []
    assert validation.check(bag_dir) == []
    assert reproduce.reproduce(bag_dir, tmp_path) == []


def test_changed_file_is_found_through_its_mets(bag_dir: Path, tmp_path: Path) -> None:
    copy = tmp_path / "b1"
    shutil.copytree(bag_dir, copy)
    path = copy / "data" / ITEM / "metadata/descriptive/mods.xml"
    path.write_bytes(path.read_bytes().replace(b"Hafenmauer", b"Hafenmaues"))
    codes = {finding.code for finding in validation.check(copy)}
    assert {"bag.payload_changed", "delivered.mets_digest"} <= codes


@pytest.mark.parametrize(
    ("schema", "pattern"),
    [
        ("mets-1-12-1.xsd", "**/METS.xml"),
        ("premis-v3-0.xsd", "metadata/preservation/*.xml"),
        ("mods-3-8.xsd", "metadata/descriptive/mods.xml"),
        ("mix20.xsd", "**/*.mix.xml"),
    ],
)
def test_official_schemas_accept(schema: str, pattern: str, sip: Path) -> None:
    loader = SCHEMAS / "offline_schema.py"
    if not loader.exists():
        pytest.skip(f"{loader} is not there: the official schemas with their resolver")
    spec = importlib.util.spec_from_file_location("offline_schema", loader)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    official = module.load(schema)
    paths = sorted(sip.glob(pattern))
    assert paths
    for path in paths:
        official.assertValid(etree.parse(str(path)))


def test_official_schemas_travel_where_they_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deliveries.without_records(monkeypatch)
    folder = tmp_path / "xsd"
    files.write_text(folder / "mets.xsd", "<xs/>")
    given = made_items.make_item(tmp_path)
    given["settings"] |= {"package": {"profile": "eark"}, "records": {"schema_dir": str(folder)}}
    deliveries.finish(tmp_path, given)
    package = files.read_json(made_items.item_dir_of(tmp_path) / "package.json")
    assert "schemas/mets.xsd" in {entry["path"] for entry in package["files"]}
