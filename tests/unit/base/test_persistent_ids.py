"""Persistent identifiers: forms that are the same, and what is mistyped."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.base import persistent


def read(scheme, text, **checked):
    return persistent.read(scheme, text, checked).value


@pytest.mark.parametrize(
    ("scheme", "text", "value"),
    [
        # draft-kunze-ark-38, section 2.7: address, old slash, case of label and NAAN, hyphens,
        # marks at the end make no difference; the name keeps its case.
        ("ark", "ark:12345/x6np1wh8k", "ark:12345/x6np1wh8k"),
        ("ark", "ark:/12345/x6np1wh8k", "ark:12345/x6np1wh8k"),
        ("ark", "ARK:12345/x6-np1-wh8k", "ark:12345/x6np1wh8k"),
        ("ark", "https://n2t.net/ark:/12345/x6np1wh8k/", "ark:12345/x6np1wh8k"),
        ("ark", "http://archive.port-ellery.example/ark:12345/x6np1wh8k.", "ark:12345/x6np1wh8k"),
        ("ark", "ark:12345/x6np\u20101wh8k/c3%ab", "ark:12345/x6np1wh8k/c3%AB"),
        ("ark", "ark:12345/X6", "ark:12345/X6"),
        ("ark", "ark:B5060/x6", "ark:b5060/x6"),
        ("ark", "12345/x6np1wh8k", "ark:12345/x6np1wh8k"),
        # DOI Handbook, 2.4 (case) and 3.8 (addresses).
        ("doi", "10.1000/182", "10.1000/182"),
        ("doi", "DOI: 10.1000/ABC", "10.1000/abc"),
        ("doi", "https://doi.org/10.1000/a%3Cb", "10.1000/a<b"),
        ("doi", "http://dx.doi.org/10.1000.10/123", "10.1000.10/123"),
        ("doi", "info:doi/10.1000/182", "10.1000/182"),
        # RFC 3650, section 3; a DOI is a Handle.
        ("hdl", "hdl:20.500.12345/Ab", "20.500.12345/Ab"),
        ("hdl", "https://hdl.handle.net/2027/xy.31?urlappend=%3Bseq=7", "2027/xy.31"),
        ("hdl", "10.1000/182", "10.1000/182"),
        # RFC 8141, section 3.1 and RFC 8458.
        ("urn", "URN:ISBN:0-395-36341-1", "urn:isbn:0-395-36341-1"),
        ("urn", "urn:example:a123%2cz456", "urn:example:a123%2Cz456"),
        ("urn", "urn:nbn:FI-feA1", "urn:nbn:fi-feA1"),
        ("urn", "https://resolver.example/urn:nbn:de:0183-mbi0003721", "urn:nbn:de:0183-mbi0003721"),
    ],
)  # fmt: skip
def test_forms_that_are_the_same(scheme, text, value):
    assert read(scheme, text) == value
    assert read(scheme, value) == value


@pytest.mark.parametrize(
    ("scheme", "text"),
    [
        ("ark", "ark:123/x"), ("ark", "ark:12345"), ("ark", "ark:12345/"), ("ark", "box 7"),
        ("ark", "ark:12345/x6?info"), ("ark", "ark:12345/x%zz"), ("ark", "ark:12345/a b"),
        ("ark", "10.1000/182"), ("doi", "10.1/182"), ("doi", "10.1000/"), ("doi", "1987.23/45"),
        ("doi", "10.1000/a b"), ("doi", "ark:12345/x6"), ("hdl", "12345"), ("hdl", "a b/c"),
        ("urn", "urn:x:"), ("urn", "nbn:de:0183-mbi0003721"), ("urn", "urn:example:a#b"),
        ("urn", "urn:example:a?+b"), ("urn", "urn:example:a%0"), ("urn", ""), ("ark", "x" * 600),
    ],
)  # fmt: skip
def test_what_is_none_of_its_kind(scheme, text):
    with pytest.raises(persistent.NotPersistent) as refused:
        read(scheme, text)
    assert refused.value.expected


# noid(1), section "NOID CHECK DIGIT ALGORITHM": 13030/xf93gt2 gets q.
def test_the_example_of_the_algorithm_and_each_slip_of_a_finger():
    good = "ark:13030/xf93gt2q"
    assert read("ark", good, **{"13030": "whole"}) == good
    for place in range(len("ark:13030/"), len(good)):
        for letter in persistent.BETANUMERIC:
            slip = good[:place] + letter + good[place + 1 :]
            if slip != good:
                with pytest.raises(persistent.NotPersistent):
                    read("ark", slip, **{"13030": "whole"})
            swapped = good[:place] + good[place : place + 2][::-1] + good[place + 2 :]
            if swapped != good:
                with pytest.raises(persistent.NotPersistent):
                    read("ark", swapped, **{"13030": "whole"})


def test_an_authority_that_checks_the_name_alone():
    """An ARK of a national library, as it is printed in many places (value from memory)."""
    assert read("ark", "ark:/12148/btv1b8449691v", **{"12148": "name"})
    assert read("ark", "ark:/12148/btv1b8449691v/f29", **{"12148": "name"})
    with pytest.raises(persistent.NotPersistent):
        read("ark", "ark:/12148/btv1b8449691v", **{"12148": "whole"})


@pytest.mark.parametrize(
    "urn",
    [  # examples of the CC0 program github.com/bohnelang/URN-Pruefziffer and of open proceedings
        "urn:nbn:de:0183-mbi0003721", "urn:nbn:de:0074-1000-9", "urn:nbn:de:0074-1001-3",
        "urn:nbn:de:0074-1002-6", "urn:nbn:de:0074-1003-0", "urn:nbn:de:0074-1004-3",
        # ISO 2108 and ISO 3297 by way of RFC 3187 and RFC 3044
        "urn:isbn:0-395-36341-1", "urn:issn:1046-8188",
    ],
)  # fmt: skip
def test_urns_with_a_check_figure(urn):
    assert read("urn", urn) == urn
    wrong = urn[:-1] + ("1" if urn[-1] != "1" else "2")
    with pytest.raises(persistent.NotPersistent, match="mistyped"):
        read("urn", wrong)


@pytest.mark.parametrize(
    ("text", "scheme"),
    [
        ("ark:/12345/x6", "ark"), ("https://n2t.net/ark:/12345/x6", "ark"), ("doi:10.1000/1", "doi"),
        ("https://doi.org/10.1000/1", "doi"), ("urn:nbn:fi:1", "urn"), ("hdl:1/2", "hdl"),
        ("10.1000/1", None), ("1987.23/45", None), ("https://archive.example/7", None),
        ("box:12", None), ("arkwright:12345/1", None), ("urnfield: 7", None),
    ],
)  # fmt: skip
def test_a_form_names_its_kind_or_none(text, scheme):
    assert persistent.stated_in(text) == scheme


@given(st.sampled_from(persistent.SCHEMES), st.text(max_size=60))
def test_any_text_is_refused_in_words_or_stays_as_it_is_read(scheme, text):
    try:
        found = persistent.read(scheme, text)
    except persistent.NotPersistent as refused:
        assert refused.what
        return
    assert persistent.read(scheme, found.value) == found
    address = found.address("https://n2t.net/")
    assert not address or (address.startswith("https://") and " " not in address)
