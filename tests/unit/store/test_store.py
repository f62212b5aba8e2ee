"""What is decided about object storage without a connection: names, digests, what to move."""

import hashlib
import json

import msgspec
import pytest

from glassine import store
from glassine.base.errors import GlassineError
from glassine.base.records.receipt import Receipt, ReceiptBag
from glassine.store import deliveries, masters

# FIPS 180-2, appendix B.1: SHA-256 of "abc".
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
OTHER = hashlib.sha256(b"other").hexdigest()


@pytest.fixture
def place(tmp_path):
    """A folder of masters, one of what is remembered, one of what the plugin brought."""
    for name in ("masters", "state", "came"):
        (tmp_path / name).mkdir()
    return tmp_path


def arrived(place, name, content):
    path = place / "came" / name.replace("/", "_")
    path.write_bytes(content)
    return path


def take_list(place, lines, **sides):
    copies = {masters.LIST: arrived(place, masters.LIST, "".join(lines).encode())}
    copies |= {name: arrived(place, name, content) for name, content in sides.items()}
    return masters.take_list(place / "masters" / "b-1", place / "state", copies)


def take_master(place, content, expected=ABC, name="a.tif"):
    batch = place / "masters" / "b-1"
    mark = store.mark_of(place / "state", "fetched", name)
    copy = None if content is None else arrived(place, name, content)
    masters.take_master(batch, name, expected, copy, mark)
    return batch / name


def codes(caught):
    return {finding.code for finding in caught.value.findings}


# --- fetch ---


@pytest.mark.parametrize("path", ["a.tif", "targets/film light.tif", "Ä/ö.tif", "a..b.tif"])
def test_plain_paths_are_taken(path):
    assert masters.path_problem(path) is None


@pytest.mark.parametrize(
    "path",
    [
        "../a.tif",
        "x/../../a.tif",
        "/etc/passwd",
        "x//a.tif",
        "./a.tif",
        "x/",
        "",
        "c:a.tif",
        "x\\a.tif",
        "a\0.tif",
        "{batch}.tif",
        "a#b.tif",
        "a?b.tif",
        "%2e%2e/a.tif",
        "A\u030a.tif",
        "n" * 201,
    ],
)
def test_paths_that_leave_or_cannot_be_addressed_are_refused(path):
    assert masters.path_problem(path)


@pytest.mark.parametrize("name", ["../a.tif", "/a.tif", "x/../../a.tif", "manifest-sha256.txt"])
def test_one_bad_name_stops_the_whole_list_before_anything_is_placed(place, name):
    with pytest.raises(GlassineError) as caught:
        take_list(place, [f"{ABC}  good.tif\n", f"{ABC}  {name}\n"])
    assert codes(caught) == {"fetch.path"}
    assert list((place / "masters").iterdir()) == []


@pytest.mark.parametrize(
    "lines", [["no line\n"], [f"{ABC[:-1]}  a.tif\n"], [f"{ABC}  a.tif\n", f"{OTHER}  a.tif\n"]]
)
def test_a_list_that_cannot_be_trusted_is_refused(place, lines):
    with pytest.raises(GlassineError) as caught:
        take_list(place, lines)
    assert codes(caught) == {"fetch.list"}


def test_no_list_is_told(place):
    with pytest.raises(GlassineError) as caught:
        masters.take_list(place / "masters" / "b-1", place / "state", {})
    assert codes(caught) == {"fetch.no_list"}


def test_what_is_here_with_the_right_digest_is_not_due(place):
    batch = place / "masters" / "b-1"
    batch.mkdir()
    (batch / "a.tif").write_bytes(b"abc")
    (batch / "b.tif").write_bytes(b"not what is listed")
    found = take_list(place, [f"{ABC}  a.tif\n", f"{ABC} *b.tif\n", f"{ABC}  ./sub/c.tif\n"])
    assert msgspec.to_builtins(found) == {
        "due": [
            {"path": "b.tif", "sha256": ABC, "differs": True},
            {"path": "sub/c.tif", "sha256": ABC, "differs": False},
        ],
        "kept": 1,
    }
    assert (batch / masters.LIST).exists()


def test_a_master_gets_its_name_when_its_digest_is_right(place):
    take_list(place, [f"{ABC}  sub/a.tif\n"])
    target = take_master(place, b"abc", name="sub/a.tif")
    assert target.read_bytes() == b"abc"
    assert target.stat().st_nlink == 1
    again = take_list(place, [f"{ABC}  sub/a.tif\n"])
    assert (again.due, again.kept) == ([], 1)
    assert [path.name for path in (place / "masters").iterdir()] == ["b-1"]


def test_a_wrong_digest_is_refused_and_nothing_is_kept(place):
    take_list(place, [f"{ABC}  a.tif\n"])
    with pytest.raises(GlassineError) as caught:
        take_master(place, b"abd")
    assert codes(caught) == {"fetch.digest"}
    assert ABC in caught.value.findings[0].expected
    assert [path.name for path in (place / "masters" / "b-1").iterdir()] == [masters.LIST]
    assert not list((place / "masters").rglob("a.tif"))
    assert not store.mark_of(place / "state", "fetched", "a.tif").exists()


def test_a_file_that_is_there_is_not_written_over(place):
    take_list(place, [f"{ABC}  a.tif\n"])
    target = place / "masters" / "b-1" / "a.tif"
    target.write_bytes(b"a person's")
    with pytest.raises(GlassineError) as caught:
        take_master(place, b"abc")
    assert codes(caught) == {"fetch.differs"}
    assert target.read_bytes() == b"a person's"


def test_a_link_in_the_batch_folder_leads_nowhere(place):
    batch = place / "masters" / "b-1"
    batch.mkdir()
    (place / "outside").mkdir()
    (batch / "sub").symlink_to(place / "outside")
    with pytest.raises(GlassineError) as caught:
        take_master(place, b"abc", name="sub/a.tif")
    assert codes(caught) == {"fetch.path"}
    assert list((place / "outside").iterdir()) == []


def test_a_listed_file_that_the_storage_lacks_is_told(place):
    take_list(place, [f"{ABC}  a.tif\n"])
    with pytest.raises(GlassineError) as caught:
        take_master(place, None)
    assert codes(caught) == {"fetch.missing"}


@pytest.mark.parametrize(
    ("here", "fetched", "stored", "decided"),
    [
        (None, None, "s", "take"),
        ("s", None, "s", "keep"),
        ("old", "old", "s", "take"),
        ("edited", "old", "s", "refuse"),
        ("own", None, "s", "refuse"),
        (None, "s", "s", "take"),
    ],
)
def test_side_files_are_renewed_only_where_nobody_touched_them(here, fetched, stored, decided):
    assert masters.arrival(here, fetched, stored) == decided


def test_a_side_file_that_a_person_edited_stays(place):
    take_list(place, [], **{"corrections.yaml": b"corrections: []\n"})
    path = place / "masters" / "b-1" / "corrections.yaml"
    take_list(place, [], **{"corrections.yaml": b"corrections: [] # renewed\n"})
    assert path.read_bytes().endswith(b"renewed\n")
    path.write_bytes(b"corrections: [] # by hand\n")
    with pytest.raises(GlassineError) as caught:
        take_list(place, [], **{"corrections.yaml": b"corrections: [] # once more\n"})
    assert codes(caught) == {"fetch.differs"}
    assert path.read_bytes().endswith(b"by hand\n")


def test_a_listed_side_file_must_be_the_listed_one(place):
    with pytest.raises(GlassineError) as caught:
        take_list(place, [f"{ABC}  catalogue.csv\n"], **{"catalogue.csv": b"abd"})
    assert codes(caught) == {"fetch.digest"}


def test_a_digest_is_computed_again_when_the_file_changed(tmp_path):
    path, mark = tmp_path / "a", tmp_path / "mark.json"
    path.write_bytes(b"abc")
    assert store.known_digest(path, mark) == ABC
    mark.write_text(mark.read_text().replace(ABC, OTHER))
    assert store.known_digest(path, mark) == OTHER  # as remembered: not read again
    path.write_bytes(b"abcd")
    assert store.known_digest(path, mark) == hashlib.sha256(b"abcd").hexdigest()


# --- send ---


@pytest.mark.parametrize(
    ("there", "stated", "here", "decided"),
    [
        (False, None, "h", "absent"),
        (False, "h", "h", "absent"),
        (False, "x", "h", "differs"),
        (False, None, None, "gone"),
        (False, "h", None, "gone"),
        (True, "h", "h", "there"),
        (True, "h", None, "there"),
        (True, "x", "h", "differs"),
        (True, None, "h", "unproved"),
        (True, None, None, "gone"),
    ],
)
def test_what_to_send(there, stated, here, decided):
    assert deliveries.standing(there, stated, here) == decided


def receipt(name, form="tar", replaces=None):
    suffix = {"folder": "", "tar": ".tar", "zip": ".zip"}[form]
    digest, when = "0" * 64, "2026-03-18T08:55:00Z"
    return Receipt(
        delivery=name,
        batch="b-1",
        revision=1,
        replaces=replaces,
        continues=None,
        time=when,
        form=form,
        profile="mets",
        content=digest,
        bags=[
            ReceiptBag(
                name=f"{name}{suffix}",
                files=1,
                bytes=1,
                manifest_sha256=digest,
                tagmanifest_sha256=digest,
                validated=when,
            )
        ],
        items=[],
        lacking=[],
        handover=[f"{name}.handover.csv", f"{name}.handover.json"],
    )


@pytest.fixture
def receipts(monkeypatch):
    from glassine.deliver import step as deliver

    given = []
    monkeypatch.setattr(deliver, "sound_receipts", lambda folder, batch: given)
    return given


def test_a_receipt_comes_after_all_that_it_tells_of(receipts, tmp_path):
    receipts += [receipt("b-1"), receipt("b-1.r2", replaces="b-1")]
    names = [(entry.name, entry.kind) for entry in deliveries.delivered_files(tmp_path, "b-1")]
    assert names[:4] == [
        ("b-1.tar", "bag"),
        ("b-1.handover.csv", "handover"),
        ("b-1.handover.json", "handover"),
        ("b-1.receipt.json", "receipt"),
    ]
    assert names[4:] == [(name.replace("b-1", "b-1.r2"), kind) for name, kind in names[:4]]


def test_a_folder_delivery_is_refused_unless_a_later_one_replaces_it(receipts, tmp_path):
    receipts.append(receipt("b-1", form="folder"))
    with pytest.raises(GlassineError) as caught:
        deliveries.delivered_files(tmp_path, "b-1")
    assert codes(caught) == {"send.folder"}
    receipts.append(receipt("b-1.r2", form="zip", replaces="b-1"))
    names = [entry.name for entry in deliveries.delivered_files(tmp_path, "b-1")]
    assert names[0] == "b-1.r2.zip"


def compared(tmp_path, content, there=(), stated=None):
    folder = tmp_path / "deliveries"
    folder.mkdir(exist_ok=True)
    name = "b-1.handover.csv"
    wanted = [deliveries.DeliveredFile(delivery="b-1", name=name, kind="handover")]
    if content is not None:
        (folder / "b-1.handover.csv").write_bytes(content)
    copies = {}
    if stated:
        copies["b-1.handover.csv"] = tmp_path / "stated"
        copies["b-1.handover.csv"].write_text(stated)
    state = tmp_path / "results" / "b-1" / "store"
    (entry,) = deliveries.compare(folder, state, wanted, list(there), copies).files
    return entry.state, entry.sha256


def test_what_is_there_with_the_same_digest_is_left(tmp_path):
    name = "b-1.handover.csv"
    assert compared(tmp_path, b"abc") == ("absent", ABC)
    assert compared(tmp_path, b"abc", [name]) == ("unproved", ABC)
    line = deliveries.stated_line(name, ABC)
    assert compared(tmp_path, b"abc", [name], line) == ("there", ABC)


def test_another_object_of_the_name_is_refused(tmp_path):
    line = deliveries.stated_line("b-1.handover.csv", OTHER)
    with pytest.raises(GlassineError) as caught:
        compared(tmp_path, b"abc", ["b-1.handover.csv"], line)
    assert codes(caught) == {"send.differs"}


@pytest.mark.parametrize("text", ["zz", "\xff", f"{ABC[:-2]}  a", f"{ABC}00  a"])
def test_what_states_no_digest_is_told(tmp_path, text):
    with pytest.raises(GlassineError) as caught:
        compared(tmp_path, b"abc", ["b-1.handover.csv"], text)
    assert codes(caught) == {"send.stated"}


def test_a_bag_that_rotted_is_not_sent(tmp_path):
    (tmp_path / "b-1.tar").write_bytes(b"no tar any more")
    wanted = [deliveries.DeliveredFile(delivery="b-1", name="b-1.tar", kind="bag")]
    with pytest.raises(GlassineError):
        deliveries.compare(tmp_path, tmp_path / "state", wanted, [], {})


def test_what_is_offered_is_the_file_that_was_compared(tmp_path):
    path, mark, offered = tmp_path / "a.tar", tmp_path / "mark.json", tmp_path / "x" / "a.tar"
    path.write_bytes(b"abc")
    deliveries.offer(path, ABC, mark, offered)
    assert offered.is_symlink() and offered.read_bytes() == b"abc"
    path.write_bytes(b"abcd")
    with pytest.raises(GlassineError) as caught:
        deliveries.offer(path, ABC, mark, offered)
    assert codes(caught) == {"send.changed"}


def test_what_was_read_back_must_be_the_file(tmp_path):
    path = tmp_path / "back"
    path.write_bytes(b"abc")
    deliveries.prove(path, "a.tar", ABC)
    path.write_bytes(b"abd")
    with pytest.raises(GlassineError) as caught:
        deliveries.prove(path, "a.tar", ABC)
    assert codes(caught) == {"send.differs"}


# --- a run ---


def test_what_is_remembered_is_looked_at_anew_by_the_next_run(tmp_path):
    state = store.state_dir(tmp_path, "b-1")
    state.mkdir(parents=True)
    (state / "fetch.json").write_text("{}")
    copy = tmp_path / ".snakemake" / "storage" / "store" / "x"
    copy.parent.mkdir(parents=True)
    copy.write_text("")
    store.begin(tmp_path, ["b-1", "b-2"])
    assert not (state / "fetch.json").exists() and not copy.exists()


def test_an_operator_is_told_what_moved(tmp_path):
    state = store.state_dir(tmp_path, "b-1")
    state.mkdir(parents=True)
    due = [{"path": "a.tif", "sha256": ABC}, {"path": "b.tif", "sha256": ABC}]
    (state / "fetch.json").write_text(json.dumps({"due": due, "kept": 3}))
    mark = store.mark_of(state, "fetched", "a.tif")
    mark.parent.mkdir(parents=True)
    mark.write_text("{}")
    assert store.told(tmp_path, "b-1", ["fetch"]) == [
        "b-1: 1 of 2 files fetched, 3 were here already"
    ]
    (state / "send.json").write_text(json.dumps({"files": []}))
    assert store.told(tmp_path, "b-1", ["send"]) == [
        "b-1: nothing is delivered yet, and nothing was sent"
    ]
