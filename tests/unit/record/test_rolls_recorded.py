"""A frame that is an item of its own stands on its roll, in the structure and in the description."""

from __future__ import annotations

from typing import Any

import pytest
from lxml import etree

from glassine.base import markup
from glassine.base.settings import PROJECT
from glassine.record import official
from makers.item_records import Made

NS = {prefix: uri for prefix, uri in markup.NAMESPACES.items() if prefix != "xsi"}
SCHEMAS = PROJECT.parent / "shared" / "schemas"


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path).master("PEH-0001.tif")


def found(root: Any, path: str) -> list[str]:
    return [str(each) for each in root.xpath(path, namespaces=NS)]


def test_an_item_of_a_roll_has_the_roll_above_it_and_as_its_host(made):
    made.given |= {"roll": "R 12", "place": "12A"}
    path = made.record()
    root = etree.fromstring(path.read_bytes())
    roll = root.xpath("//mets:structMap[@TYPE='PHYSICAL']/mets:div", namespaces=NS)[0]
    assert (roll.get("TYPE"), roll.get("LABEL")) == ("roll", "R 12")
    assert found(roll, "mets:div/@TYPE") == ["item"]
    assert found(roll, "mets:div/@ORDERLABEL") == ["12A"]
    assert found(roll, "mets:div/mets:div/@LABEL") == ["PEH-0001.tif"]
    host = "//mods:mods/mods:relatedItem[@type='host' and @displayLabel='roll']"
    assert found(root, f"{host}/mods:identifier/text()") == ["R 12"]
    if SCHEMAS.exists():
        assert official.check_schemas(path, SCHEMAS) == []


def test_an_item_of_no_roll_stands_alone(made):
    root = etree.fromstring(made.record().read_bytes())
    assert found(root, "//mets:structMap[@TYPE='PHYSICAL']/mets:div/@TYPE") == ["item"]
    assert not root.xpath("//mods:relatedItem[@displayLabel='roll']", namespaces=NS)
