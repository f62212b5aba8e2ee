"""What a person sees first in a bag: README.txt, and index.html with the items and small pictures.

Both are made of the hand-over list alone, so that they say what it says. The pages need no network,
no program and no other file than those of the bag: links are relative, texts are escaped. A page
has at most PAGE_ITEMS items; of a large bag there are several, which lead to one another.
"""

from __future__ import annotations

import html
from dataclasses import dataclass
from urllib.parse import quote

from msgspec import UNSET, UnsetType

from glassine.base import visible
from glassine.deliver.handover import FileRow, ItemRow

README, INDEX = "README.txt", "index.html"
PAGE_ITEMS = 200
# Small pictures and file names shown of an item; the hand-over list has all.
_SHOWN_PICTURES, _SHOWN_FILES = 12, 60
_MAX_TEXT = 300
# What the worst verdict on the frames of an item means to whoever gets it.
_QUALITY = {
    "pass": "measured, all within the limits",
    "not measured": "within the limits; not all of it could be measured",
    "review": "measured; a value is near or beyond its limit and asks for a look",
    "fail": "measured; a value is beyond its limit",
}
_STYLE = (
    "body{font:16px/1.45 system-ui,sans-serif;margin:2rem auto;max-width:70rem;padding:0 1rem;"
    "color:#222;background:#fff;color-scheme:light}h1{font-size:1.5rem;line-height:1.2}"
    "h2{font-size:1.05rem;margin:0}h2 span{font-weight:400}time{white-space:nowrap}"
    "section{border-top:1px solid #ccc;padding:1rem 0}nav,p+section{margin-top:1rem}"
    "dl{display:grid;grid-template-columns:max-content 1fr;gap:.2rem 1rem}dt{color:#666}"
    "dd{margin:0;overflow-wrap:anywhere}.pictures{display:flex;flex-wrap:wrap;gap:.6rem;"
    "margin:.6rem 0}.pictures img{max-height:160px;max-width:220px;background:#eee}"
    "ul{columns:24rem;padding-left:1.2rem;font-size:.85rem;overflow-wrap:anywhere}p{margin:.4rem 0}"
    "summary{cursor:pointer;color:#444}nav a{margin-right:.6rem}"
)


@dataclass(frozen=True)
class About:
    """What a bag is: the delivery and batch it belongs to, who delivers, when, and its lists.

    part: "2 of 3" where the delivery has several bags, else empty. lists: what the bag holds beside
    packages that a reader should know of (the program that checks it, the signature).
    """

    delivery: str
    batch: str
    keeper: str
    contact: str
    time: str
    part: str
    validator: bool
    signed: bool


def texts(about: About, rows: list[ItemRow]) -> dict[str, bytes]:
    """Return {path in the bag: content} of README.txt and the pages. rows: as in handover.json."""
    pages = [rows[at : at + PAGE_ITEMS] for at in range(0, len(rows), PAGE_ITEMS)] or [[]]
    made = {README: _readme(about, rows).encode("utf-8")}
    for number, shown in enumerate(pages, 1):
        made[page_name(number)] = _page(about, rows, shown, number, len(pages)).encode("utf-8")
    return made


def page_name(number: int) -> str:
    """Return the name of a page. number: of it, from 1.

    >>> [page_name(1), page_name(2)]
    ['index.html', 'index-0002.html']
    """
    return INDEX if number == 1 else f"index-{number:04d}.html"


def text_of(value: str | UnsetType | None, limit: int = _MAX_TEXT) -> str:
    """Return a text from outside in one line, its controls visible, cut where it is long."""
    text = " ".join(visible.visible(value).split()) if isinstance(value, str) else ""
    return text if len(text) <= limit else text[: limit - 1] + "…"


def line_of(row: ItemRow) -> str:
    """Return an item's line in README.txt."""
    parts = [row.item, text_of(row.title), text_of(row.date)]
    if not row.files:
        parts.append(f"[{row.state}: {text_of(row.reason)}]")
    return "  ".join(part for part in parts if part)


def _sentence(about: About, rows: list[ItemRow]) -> str:
    held = [row for row in rows if row.files]
    count = sum(len(row.files) for row in held)
    part = f", bag {about.part}" if about.part else ""
    return (
        f"Delivery {about.delivery} of the batch {about.batch}{part}: {len(held)} digitized items "
        f"with {count} masters and pictures, made {_made(about)}."
    )


def _made(about: About) -> str:
    """Return when the delivery was made, to the minute.

    about.time: ISO 8601, UTC."""
    return f"{about.time[:10]} {about.time[11:16]} UTC"


def _readme(about: About, rows: list[ItemRow]) -> str:
    checks = ["sha256sum -c manifest-sha256.txt (and sha512sum) compare every file"]
    if about.validator:
        checks.append("python3 -I delivery/check_bag.py checks digests and lists")
    if about.signed:
        checks.append(
            "tagmanifest-sha512.txt.sig signs tagmanifest-sha512.txt (Ed25519); bag-info.txt names "
            "the key"
        )
    lines = [
        text_of(about.keeper) or "Digitized items",
        "",
        _sentence(about, rows),
        *([f"Questions: {text_of(about.contact)}"] if about.contact else []),
        "",
        "This folder is a BagIt 1.0 bag (RFC 8493). index.html shows the items.",
        "",
        "data/<item>/   the package of an item: masters as captured, pictures for access, small",
        "               pictures, tiles, and the record of all of it (METS, PREMIS, MIX)",
        "delivery/      what the delivery holds, replaces and lacks, and the hand-over lists",
        "               (handover.csv, handover.json) with each file, its size and its digests",
        "manifest-*     digests of every file in data/",
        "",
        "Of image tiles the METS of an item lists the info.json of each picture, with one joint",
        "digest over all tiles of that picture (SHA-256 over the sorted lines of path and SHA-256",
        "of every file); the manifests of the bag list each tile.",
        "",
        "To check it:",
        *(f"  {check}" for check in checks),
        "",
        "Items:",
        *(f"  {line_of(row)}" for row in rows),
    ]
    return "\n".join(lines) + "\n"


def _escaped(text: str) -> str:
    return html.escape(text, quote=True)


def _page(about: About, rows: list[ItemRow], shown: list[ItemRow], number: int, count: int) -> str:
    title = text_of(about.keeper) or "Digitized items"
    links = "".join(
        f'<a href="{page_name(other)}">{other}</a>' if other != number else f"<b>{other}</b> "
        for other in range(1, count + 1)
    )
    nav = f"<nav>Pages: {links}</nav>" if count > 1 else ""
    made = _escaped(_made(about))
    time = f'<time datetime="{_escaped(about.time)}">{made}</time>'
    sentence = _escaped(_sentence(about, rows)).replace(made, time)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{_escaped(about.delivery)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f'<h1 dir="auto">{_escaped(title)}</h1>\n<p>{sentence}</p>\n'
        f'<p><a href="{README}">README.txt</a> says what this is and how it is checked; '
        '<a href="delivery/handover.csv">delivery/handover.csv</a> lists every file with its '
        f"digests.</p>\n{nav}\n" + "".join(map(_section, shown)) + f"{nav}\n</body>\n</html>\n"
    )


def _section(row: ItemRow) -> str:
    title = text_of(row.title)
    heading = f'{_escaped(row.item)} <span dir="auto">{_escaped(title)}</span>'
    facts = {
        "Date": text_of(row.date),
        "Persistent identifiers": text_of(row.persistent_ids),
        "Access": text_of(row.access),
        "Quality": _QUALITY.get(text_of(row.quality), text_of(row.quality)) if row.files else "",
        "State": "" if row.files else f"{row.state}: {text_of(row.reason)}",
    }
    listed = "".join(
        f'<dt>{name}</dt><dd dir="auto">{_escaped(value)}</dd>'
        for name, value in facts.items()
        if value
    )
    return (
        f'<section id="{_escaped(quote(row.item))}">\n<h2>{heading}</h2>\n'
        f"<dl>{listed}</dl>\n{_pictures(row)}{_files(row)}</section>\n"
    )


def _address(row: ItemRow, file: FileRow) -> str:
    return _escaped(quote(f"data/{row.item}/{file.file}", safe="/"))


def _here(row: ItemRow) -> list[FileRow]:
    return [file for file in row.files if file.delivery is UNSET]


def _pictures(row: ItemRow) -> str:
    """Return the small pictures of an item, each a link to the access image of its frame."""
    access = {(file.master, file.frame): file for file in _here(row) if file.use == "access"}
    small = [file for file in _here(row) if file.use == "thumb"]
    shown = []
    for file in small[:_SHOWN_PICTURES]:
        large = access.get((file.master, file.frame), file)
        name = f"{row.item}, frame {file.frame}" if len(small) > 1 else row.item
        shown.append(
            f'<a href="{_address(row, large)}"><img loading="lazy" src="{_address(row, file)}" '
            f'width="{file.width_px}" height="{file.height_px}" alt="{_escaped(name)}" '
            'style="width:auto;height:auto"></a>'
        )
    more = len(small) - len(shown)
    rest = f"<p>and {more} more</p>" if more > 0 else ""
    return f'<div class="pictures">{"".join(shown)}</div>{rest}\n' if shown else ""


def _files(row: ItemRow) -> str:
    here = _here(row)
    if not row.files:
        return ""
    listed = "".join(
        f'<li><a href="{_address(row, file)}">{_escaped(text_of(file.file))}</a> '
        f"({_escaped(_facts(file))})</li>"
        for file in here[:_SHOWN_FILES]
    )
    more = len(row.files) - min(len(here), _SHOWN_FILES)
    rest = f"<p>{more} more are in the hand-over list, with where they lie.</p>" if more else ""
    return (
        f"<details><summary>{len(row.files)} masters and pictures</summary><ul>{listed}</ul>{rest}"
        "</details>\n"
    )


def _facts(file: FileRow) -> str:
    size = f"{file.width_px} × {file.height_px} px, " if file.width_px and file.height_px else ""
    return f"{file.use}, {size}{file.bytes:,} bytes"
