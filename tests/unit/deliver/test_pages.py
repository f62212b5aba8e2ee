"""README.txt and index.html of a bag: what a person sees first, made of the hand-over list."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from urllib.parse import unquote

import msgspec
import pytest
from lxml import etree

from glassine.base import files
from glassine.deliver import pages, validation
from glassine.deliver.handover import FileRow, ItemRow
from makers import deliveries

ABOUT = pages.About(
    delivery="b1",
    batch="b1",
    keeper="Port Ellery Harbour Archive",
    contact="pictures@archive.port-ellery.example",
    time="2026-03-18T02:13:20Z",
    part="",
    validator=False,
    signed=False,
)


def row(item: str = "PEH-0001", title: str = "A quay", frames: int = 1) -> ItemRow:
    rows = [
        FileRow(
            use=use,
            file=f"{use}/{item}_{number}.jpg",
            master=f"{item}.tif",
            frame=number,
            width_px=40,
            height_px=30,
            bytes=1000,
            sha256="0" * 64,
        )
        for number in range(1, frames + 1)
        for use in ("access", "thumb")
    ]
    return ItemRow(item=item, state="delivered", title=title, date="1 May 1906", files=tuple(rows))


def parsed(page: bytes) -> etree._Element:
    return etree.fromstring(page, etree.HTMLParser(encoding="utf-8"))


@pytest.fixture(scope="module")
def bag(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("pages")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.deliver(root, deliveries.make_batch(root))
    return root / "deliveries" / "b1"


def test_every_link_leads_to_a_file_of_the_bag(bag: Path) -> None:
    page = parsed((bag / "index.html").read_bytes())
    targets = [str(each) for each in page.xpath("//@href | //@src")]
    assert len(targets) > 8
    for target in targets:
        assert not re.match(r"[a-z]+:|//|/", target)
        assert (bag / unquote(target)).is_file()


def test_titles_stand_in_page_readme_and_hand_over_list(bag: Path) -> None:
    listed = files.read_json(bag / "delivery" / "handover.json")
    title = listed["items"][0]["title"]
    assert listed["items"][0]["date"] == "1 May 1906"
    assert title in (bag / "delivery" / "handover.csv").read_text("utf-8")
    assert title in "".join(parsed((bag / "index.html").read_bytes()).itertext())
    readme = (bag / "README.txt").read_text("utf-8")
    assert f"  PEH-0001  {title}  1 May 1906\n" in readme
    assert "one joint\ndigest over all tiles" in readme


def test_no_script_and_nothing_from_the_network(bag: Path) -> None:
    page = (bag / "index.html").read_text("utf-8")
    assert not re.search(r"<script|<link|<iframe|javascript:|\bon\w+=|url\(|https?://", page)


HOSTILE = '</span><script>alert(1)</script>" onload="x\x1b[31m\u202egpj.exe & more'


def test_texts_from_outside_are_escaped() -> None:
    made = pages.texts(
        ABOUT, [row(title=HOSTILE), ItemRow(item="PEH-2", state="held", reason=HOSTILE)]
    )
    page = parsed(made["index.html"])
    assert page.xpath("//script | //@onload") == []
    assert "<script>alert(1)</script>" in "".join(page.itertext())  # as words
    for content in made.values():
        assert b"\x1b" not in content
        assert "\u202e".encode() not in content


def test_odd_file_names_become_addresses() -> None:
    odd = "100% #1?.jpg"
    item = row()
    file = FileRow(use="thumb", file=f"thumbs/{odd}", master="m", frame=1, sha256="0" * 64)
    made = pages.texts(ABOUT, [ItemRow(item=item.item, state="delivered", files=(file,))])
    (source,) = parsed(made["index.html"]).xpath("//img/@src")
    assert source == "data/PEH-0001/thumbs/100%25%20%231%3F.jpg"


def test_large_bags_have_several_pages_of_bounded_size() -> None:
    rows = [row(f"PEH-{number:05d}", "A title " * 100, frames=40) for number in range(450)]
    made = pages.texts(ABOUT, rows)
    assert sorted(made) == ["README.txt", "index-0002.html", "index-0003.html", "index.html"]
    assert max(len(content) for content in made.values()) < 6_000_000
    first = parsed(made["index.html"])
    assert len(first.xpath("//section")) == pages.PAGE_ITEMS
    assert "index-0003.html" in first.xpath("//nav//@href")
    assert max(len(section.xpath(".//img")) for section in first.xpath("//section")) == 12
    assert (
        sum(len(parsed(made[name]).xpath("//section")) for name in made if "index" in name) == 450
    )


def test_the_same_list_gives_the_same_bytes() -> None:
    assert pages.texts(ABOUT, [row()]) == pages.texts(ABOUT, [row()])


def test_files_that_an_earlier_delivery_has_are_no_links() -> None:
    file = FileRow(
        use="thumb", file="v1/content/t.jpg", master="m", frame=1, sha256="0" * 64, delivery="b0"
    )
    made = pages.texts(ABOUT, [ItemRow(item="PEH-1", state="delivered", files=(file,))])
    assert parsed(made["index.html"]).xpath("//img") == []
    assert b"1 more are in the hand-over list" in made["index.html"]


def test_a_changed_readme_shows(bag: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(bag, tmp_path / "b1")
    deliveries.without_records(monkeypatch)
    path = tmp_path / "b1" / "README.txt"
    path.write_text(path.read_text("utf-8").replace("1 May 1906", "1 May 1936"), "utf-8")
    assert "bag.tag_changed" in {each.code for each in validation.check(tmp_path / "b1")}


def test_quality_and_time_are_said_in_words() -> None:
    """A reader at the repository does not know the verdicts of a night."""
    rows = [
        msgspec.structs.replace(row(item=f"PEH-{verdict}"), quality=verdict)
        for verdict in ("pass", "review", "fail", "not measured")
    ]
    shown = "".join(parsed(pages.texts(ABOUT, rows)["index.html"]).itertext())
    for words in ("all within the limits", "asks for a look", "beyond its limit", "not all of it"):
        assert words in shown
    assert "UTC" in shown
    assert ABOUT.time not in shown
