"""Extracts as archives export them: spreadsheets, old encodings, JSON of any shape; and what else
lies there under a catalogue's name."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest

from glassine.base.errors import GlassineError
from glassine.intake.catalogue.reading import Catalogue, read_catalogue
from glassine.intake.given import CatalogueSection, CatalogueSettings

# Real exports, beside a checkout.
REAL = Path(__file__).parents[4] / "shared" / "catalogue" / "real"


def read(path: Path, **section) -> Catalogue:
    return read_catalogue(path, CatalogueSettings(catalogue=CatalogueSection(**section)))


def written(tmp_path: Path, name: str, content: bytes) -> Path:
    path = tmp_path / name
    path.write_bytes(content)
    return path


def refusal(path: Path, **section) -> GlassineError:
    with pytest.raises(GlassineError) as caught:
        read(path, **section)
    return caught.value.findings[0]


CONTENT_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-'
    'types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
    'relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.'
    'openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>{sheets}</Types>'
)
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"


def workbook(sheets: dict[str, list[list[object]]], hidden: tuple[str, ...] = ()) -> bytes:
    """Return the least that is a workbook (ECMA-376-1, clauses 12.3 and 18.2 to 18.3)."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        entries, relations, overrides = "", "", ""
        for number, (name, rows) in enumerate(sheets.items(), 1):
            state = ' state="hidden"' if name in hidden else ""
            entries += f'<sheet name="{name}" sheetId="{number}"{state} r:id="r{number}"/>'
            relations += (
                f'<Relationship Id="r{number}" Type="{OFFICE}/worksheet" '
                f'Target="worksheets/sheet{number}.xml"/>'
            )
            overrides += (
                f'<Override PartName="/xl/worksheets/sheet{number}.xml" ContentType="application/'
                'vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>'
            )
            package.writestr(f"xl/worksheets/sheet{number}.xml", _sheet(rows))
        package.writestr("[Content_Types].xml", CONTENT_TYPES.format(sheets=overrides))
        package.writestr(
            "_rels/.rels",
            f'<Relationships xmlns="{PACKAGE}"><Relationship Id="r" Type="{OFFICE}/officeDocument"'
            ' Target="xl/workbook.xml"/></Relationships>',
        )
        package.writestr(
            "xl/workbook.xml",
            f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{entries}</sheets></workbook>',
        )
        package.writestr(
            "xl/_rels/workbook.xml.rels",
            f'<Relationships xmlns="{PACKAGE}">{relations}</Relationships>',
        )
    return out.getvalue()


def _sheet(rows: list[list[object]]) -> str:
    body = ""
    for number, row in enumerate(rows, 1):
        cells = ""
        for column, value in enumerate(row):
            place = f"{chr(65 + column)}{number}"
            if isinstance(value, str):
                cells += (
                    f'<c r="{place}" t="inlineStr"><is><t>{value}</t></is></c>' if value else ""
                )
            else:
                cells += f'<c r="{place}"><v>{value}</v></c>'
        body += f'<row r="{number}">{cells}</row>'
    return f'<worksheet xmlns="{MAIN}"><sheetData>{body}</sheetData></worksheet>'


HEADER = ["item_id", "title", "date"]


def test_a_spreadsheet_is_read_from_its_header_on(tmp_path):
    rows = [
        ["Store 4"],
        [],
        HEADER,
        ["PEH-1", "Quay", 1905],
        [],
        ["PEH-2", "Mole", ""],
        ["Total", 2],
    ]
    path = written(tmp_path, "catalogue.xlsx", workbook({"Objects": rows}))
    catalogue = read(path)
    assert set(catalogue.records) == {"PEH-1", "PEH-2"}
    assert catalogue.records["PEH-1"].date_text == "1905"  # a number, shown without a fraction
    assert catalogue.records["PEH-2"].row == 6


def test_a_hidden_sheet_is_not_read(tmp_path):
    sheets = {"Objects": [HEADER, ["PEH-1", "Quay", ""]], "Old": [HEADER, ["PEH-9", "Old", ""]]}
    path = written(tmp_path, "catalogue.xlsx", workbook(sheets, hidden=("Old",)))
    assert set(read(path).records) == {"PEH-1"}


def test_two_sheets_that_may_be_meant_are_refused_by_their_names(tmp_path):
    sheets = {"A": [HEADER, ["PEH-1", "Quay", ""]], "B": [HEADER, ["PEH-2", "Mole", ""]]}
    path = written(tmp_path, "catalogue.xlsx", workbook(sheets))
    told = refusal(path)
    assert told.code == "catalogue.sheet" and "'A', 'B'" in told.what
    assert set(read(path, sheet="B").records) == {"PEH-2"}


def test_a_spreadsheet_without_the_column_names_its_sheets(tmp_path):
    path = written(tmp_path, "catalogue.xlsx", workbook({"Things": [["No."], ["1"]]}))
    told = refusal(path)
    assert told.code == "catalogue.sheet" and "'Things'" in told.what


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"%PDF-1.7 ...", "a PDF"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "a spreadsheet"),
        (b"PK\x03\x04 not a package at all", "damaged archive"),
        (b"<html><body>sign in</body></html>", "a web page"),
        (b"{\\rtf1 Catalogue}", "a text document"),
    ],
)
def test_what_is_no_extract_is_refused_by_the_name_of_its_kind(tmp_path, content, words):
    told = refusal(written(tmp_path, "catalogue.csv", content))
    assert words in told.what
    assert "byte" not in told.what


@pytest.mark.parametrize("encoding", ["cp850", "cp1252", "mac_roman"])
def test_an_old_encoding_is_found_by_its_letters_and_said(tmp_path, encoding):
    names = ["Müllerstraße", "Hafengebäude", "Brücke am Fluß", "Möwen über den Dächern", "Fähre"]
    text = "item_id,title\n" + "".join(f"PEH-{n},{name}\n" for n, name in enumerate(names))
    catalogue = read(written(tmp_path, "catalogue.csv", text.encode(encoding)))
    assert [record.title for record in catalogue.records.values()] == names
    told = [finding for finding in catalogue.findings if finding.code == "catalogue.encoding_found"]
    assert len(told) == 1 and "Müllerstraße" in told[0].what


def test_letters_that_two_encodings_explain_are_refused_with_what_each_encoding_makes_of_them(
    tmp_path,
):
    content = "item_id,title\nPEH-1,Řeka\n".encode("cp1250")
    told = refusal(written(tmp_path, "catalogue.csv", content))
    assert told.code == "catalogue.encoding" and "Řeka" in told.what and "Øeka" in told.what


def test_wide_letters_without_a_mark_are_read(tmp_path):
    content = "item_id\ttitle\nPEH-1\tQuay – low\n".encode("utf-16-le")
    assert read(written(tmp_path, "catalogue.tsv", content)).records["PEH-1"].title == "Quay – low"


def test_bars_may_stand_between_cells(tmp_path):
    path = written(tmp_path, "catalogue.csv", b"item_id|title\nPEH-1|Quay, low\n")
    assert read(path).records["PEH-1"].title == "Quay, low"


def test_an_array_of_objects_is_read_with_paths_into_them(tmp_path):
    rows = [
        {"acno": "PEH-1", "title": "Quay", "dateRange": {"startYear": 1905}, "people": [{"fc": "A"}, {"fc": "B"}]},
        {"acno": "PEH-2", "title": "Mole", "dateRange": None, "people": []},
    ]  # fmt: skip
    columns = {"item_id": "acno", "date_earliest": "dateRange.startYear", "creator": "people[].fc"}
    path = written(tmp_path, "catalogue.json", json.dumps(rows).encode())
    catalogue = read(path, columns=columns, required=False)
    assert catalogue.records["PEH-1"].edtf == "1905/.."
    assert [each.name for each in catalogue.records["PEH-1"].creators] == ["A", "B"]
    assert catalogue.records["PEH-2"].creators == []


def test_an_object_around_one_array_is_its_rows(tmp_path):
    path = written(
        tmp_path, "catalogue.json", json.dumps({"n": 1, "rows": [{"item_id": "a", "title": "b"}]}).encode()
    )  # fmt: skip
    assert set(read(path).records) == {"a"}


@pytest.mark.parametrize("content", [b"[1, 2]", b'[{"a": 1,]', b"[", b'[{"a": 1, "a": 2}]'])
def test_a_broken_array_is_refused(tmp_path, content):
    assert refusal(written(tmp_path, "catalogue.json", content)).code == "catalogue.json"


needs_real = pytest.mark.skipif(not REAL.exists(), reason="the folder of real exports is not there")


@needs_real
@pytest.mark.parametrize(
    ("name", "expected", "columns"),
    [
        ("objects_en.xlsx", "objects_en", {"item_id": "Object number", "title": "Title", "date": "Date", "creator": "Maker", "credit": "Credit"}),
        ("objekte_de.ods", "objekte_de", {"item_id": "Signatur", "title": "Titel", "date": "Datierung", "creator": "Fotograf", "credit": "Nachweis"}),
    ],
)  # fmt: skip
def test_real_spreadsheets_give_the_rows_that_a_person_sees(name, expected, columns):
    """Expected rows: made with the spreadsheets, from open data of a museum (CC0 1.0)."""
    lines = (REAL / "spreadsheets" / f"{expected}.expected.jsonl").read_text("utf-8").splitlines()
    catalogue = read(REAL / "spreadsheets" / name, columns=columns)
    found = {
        **{item: (record.title, record.date_text) for item, record in catalogue.records.items()},
        **dict.fromkeys(catalogue.bad_items, None),
    }
    wanted = {}
    for line in lines:
        row = json.loads(line)
        number = row.get("object_number_stored") or row["signatur"]
        title = " ".join((row.get("title") or row.get("titel")).split())
        wanted[str(number)] = (title, str(row.get("date") or row.get("datierung") or ""))
    assert set(found) == set(wanted)
    read_rows = {item: value for item, value in found.items() if value is not None}
    assert {item: wanted[item] for item in read_rows} == read_rows
    assert len(read_rows) >= 0.95 * len(wanted)


# Columns of two real exports, by that of their item numbers.
COLUMNS = (
    {
        "item_id": "Archivsignatur",
        "title": "Bezeichnung",
        "date": ["ergänzende Datierung", "Datierung"],
        "rights_note": "Lizenz",
        "rights_holder": "Copyright",
    },
    {
        "item_id": "Numero_inventaire",
        "title": ["Titre", "Denomination_1"],
        "date": "Millesime_de_creation_initial",
    },
)


def same_rows(path: Path) -> Path:
    """Return the export in UTF-8 that the rows of one in another encoding come from."""
    start = path.name.partition("_")[0]
    return next(each for each in (REAL / "csv").glob("*.csv") if each.name.startswith(start))


@needs_real
@pytest.mark.parametrize("encoding", ["cp850", "cp1250", "macroman", "utf16le"])
def test_real_rows_are_the_same_in_every_encoding(encoding):
    (path,) = (REAL / "csv_encodings").glob(f"*{encoding}*")
    plain = same_rows(path)
    header = plain.read_text("utf-8-sig").partition("\n")[0]
    columns = next(each for each in COLUMNS if str(each["item_id"]) in header)
    one, other = (read(each, columns=columns).records for each in (path, plain))
    assert one and set(one) == set(other)
    for item, record in other.items():
        assert (one[item].title, one[item].edtf) == (record.title, record.edtf)
