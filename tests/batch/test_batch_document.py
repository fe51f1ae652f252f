import gzip
import io
import json
from contextlib import suppress
from typing import Any

import pyarrow as pa
import pytest
from drawn_documents import Document, packages, texts, vehicles
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stated_forms import OF_BATCHES, arrow_bytes, csv_bytes, ndjson

from loomwright.batch.forms.batch_document import BATCH_FORMS, BatchDocument, Limits, batch_document
from loomwright.batch.forms.form_error import FORM_ERRORS, FormError
from loomwright.batch.forms.pair_list import PairList
from loomwright.batch.forms.pairing import batch_of_document
from loomwright.batch.quote import Pricing
from loomwright.jobs.demo_library import demo_book

LAW = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
LIMITS = Limits(100, 100, 100)
BATCH: Document = {
    "price_book_name": "spring",
    "pricing": {"as_of": "2031-04-30", "deposit": {"percent": "10"}},
    "packages": [{"key": "p", "job": {"title": "Some"}}, {"key": "q", "job": {"title": "2024"}}],
    "vehicles": [
        {"key": "v", "vehicle": {"description": "Van", "drive": "hybrid"}},
        {"key": "w", "circuits": [{"key": "feed", "route": [{"length": 2.5}]}]},
    ],
    "pairs": [{"package": "q", "vehicle": "v"}, {"package": "p", "vehicle": "w"}],
}


def read(content: bytes, form: str, limits: Limits = LIMITS, **more: Any) -> BatchDocument:
    return batch_document(io.BytesIO(content), form, limits, **more)


def told(content: bytes, form: str, limits: Limits = LIMITS) -> FormError:
    with pytest.raises(FormError) as raised:
        read(content, form, limits)
    assert raised.value.code in FORM_ERRORS
    return raised.value


def listed(pairs: PairList | None) -> list[Document] | None:
    if pairs is None:
        return None
    assert not any(pair.faults for pair in pairs)
    return [{"package": pair.package, "vehicle": pair.vehicle} for pair in pairs]


def stated(document: BatchDocument) -> Document:
    assert not any(item.messages for item in (*document.packages, *document.vehicles))
    pairs = listed(document.pairs)
    return {
        **document.settings,
        "packages": [item.document for item in document.packages],
        "vehicles": [item.document for item in document.vehicles],
        **({} if pairs is None else {"pairs": pairs}),
    }


pairs_of_keys = st.lists(st.fixed_dictionaries({"package": texts, "vehicle": texts}), max_size=3)


@pytest.mark.parametrize("form", BATCH_FORMS)
@LAW
@given(
    st.fixed_dictionaries(
        {
            "packages": st.lists(packages, max_size=1),
            "vehicles": st.lists(vehicles, min_size=1, max_size=2),
        },
        optional={
            "pairs": pairs_of_keys.filter(bool),
            "price_book_name": texts,
            "pricing": st.just({"as_of": "2031-04-30", "deposit": {"percent": "10"}}),
        },
    )
)
def test_a_batch_is_the_same_in_every_form(form: str, batch: Document) -> None:
    assert stated(read(OF_BATCHES[form](batch), form)) == batch


@pytest.mark.parametrize("form", BATCH_FORMS)
def test_a_packed_batch(form: str) -> None:
    packed = gzip.compress(OF_BATCHES[form](BATCH))
    assert stated(read(packed, form, gzipped=True)) == BATCH


def test_a_batch_in_dotted_columns() -> None:
    content = csv_bytes(
        [
            ["record", "key", "pricing.as_of", "job.title", "vehicle.drive", "package", "vehicle"],
            ["batch", "", "2031-04-30", "", "", "", ""],
            ["pair", "", "", "", "", "p", "v"],
            ["vehicle", "v", "", "", "hybrid", "", ""],
            ["package", "p", "2031-05-31", "Some", "", "", ""],
        ]
    )
    assert stated(read(content, "csv")) == {
        "pricing": {"as_of": "2031-04-30"},
        "packages": [{"key": "p", "job": {"title": "Some"}, "pricing": {"as_of": "2031-05-31"}}],
        "vehicles": [{"key": "v", "vehicle": {"drive": "hybrid"}}],
        "pairs": [{"package": "p", "vehicle": "v"}],
    }


def test_columns_of_another_kind_stay_empty() -> None:
    content = csv_bytes(
        [
            ["record", "key", "job.title", "vehicle.drive"],
            ["vehicle", "v", "Some", "hybrid"],
            ["package", "p", "Some", "hybrid"],
            ["package", "q", "Other", ""],
            ["package", "r"],
        ]
    )
    document = read(content, "csv")
    assert [item.messages for item in document.vehicles] == [
        ("column job.title: No vehicle has it; leave it empty.",)
    ]
    assert [item.messages for item in document.packages] == [
        ("column vehicle.drive: No package has it; leave it empty.",),
        (),
        ("The row has 2 cells, the header has 4.",),
    ]
    assert [item.place for item in document.packages] == ["line 3", "line 4", "line 5"]


def test_an_arrow_stream_of_nested_columns() -> None:
    rows = [
        {"batch": {"price_book_name": "spring"}, "package": None, "vehicle": None, "pair": None},
        {"vehicle": {"key": "v", "circuits": [{"key": "a", "sheathed": True}]}},
        {"package": {"key": "p", "job": {"title": "Some"}}},
        {"pair": {"package": "p", "vehicle": "v"}},
    ]
    assert stated(read(arrow_bytes(pa.Table.from_pylist(rows)), "arrow")) == {
        "price_book_name": "spring",
        "packages": [{"key": "p", "job": {"title": "Some"}}],
        "vehicles": [{"key": "v", "circuits": [{"key": "a", "sheathed": True}]}],
        "pairs": [{"package": "p", "vehicle": "v"}],
    }


def test_no_pairs_and_an_empty_list_of_them_differ() -> None:
    without = {name: BATCH[name] for name in ("packages", "vehicles")}
    assert read(json.dumps(without).encode(), "json").pairs is None
    empty = read(json.dumps({**without, "pairs": []}).encode(), "json").pairs
    assert empty is not None
    assert not len(empty)


def test_pairs_at_fault_keep_their_place_and_what_they_have() -> None:
    lines = [{"pair": each} for each in ({"package": "p"}, 5, {"package": "p", "vehicle": "v"})]
    pairs = read(ndjson(lines), "ndjson").pairs
    assert pairs is not None
    found = list(pairs)
    assert [(pair.package, pair.vehicle) for pair in found] == [("p", ""), ("", ""), ("p", "v")]
    told_of = [[(fault.pointer, fault.message) for fault in pair.faults] for pair in found]
    assert told_of == [
        [("/pairs/0/vehicle", "line 1: Missing; it is required.")],
        [("/pairs/1", "line 2: An object is needed.")],
        [],
    ]


@pytest.mark.parametrize("form", BATCH_FORMS)
@pytest.mark.parametrize("what", ["packages", "vehicles", "pairs"])
def test_the_limit_is_named(form: str, what: str) -> None:
    content = OF_BATCHES[form](BATCH)
    assert stated(read(content, form, Limits(2, 2, 2))) == BATCH
    limits = Limits(**{"packages": 2, "vehicles": 2, "pairs": 2, what: 1})
    error = told(content, form, limits)
    assert error.code == f"too_many_{what}"
    assert f"At most 1 {what} are read" in error.message


def test_without_limits_everything_is_read() -> None:
    assert stated(read(OF_BATCHES["csv"](BATCH), "csv", Limits())) == BATCH


@pytest.mark.parametrize(
    ("form", "content", "code", "place"),
    [
        ("json", b"[]", "wrong_shape", ""),
        ("json", b'{"packages": []}', "wrong_shape", "/vehicles"),
        ("json", b'{"packages": {}, "vehicles": []}', "wrong_shape", "/packages"),
        ("json", b'{"packages": [], "vehicles": [], "pairs": {}}', "wrong_shape", "/pairs"),
        ("json", b'{"packages": [], "vehicles": [], "pairs": null}', "wrong_shape", "/pairs"),
        ("ndjson", b'{"package": {}, "vehicle": {}}\n', "wrong_shape", "line 1"),
        ("ndjson", b'{"vehicle": {}}\n{"vehicles": []}\n', "wrong_shape", "line 2"),
        ("ndjson", b'{"vehicle": {}}\n[]\n', "wrong_shape", "line 2"),
        ("ndjson", b'{"vehicle": {}}\n{"batch": {}}\n', "wrong_shape", "line 2"),
        ("ndjson", b'{"batch": {}}\n\n{"batch": {}}\n', "wrong_shape", "line 3"),
        ("ndjson", b'{"batch": 5}\n', "wrong_shape", "line 1"),
        ("csv", b"key\na\n", "unknown_column", "header"),
        ("csv", b"record,colour\nvehicle,red\n", "unknown_column", "header"),
        ("csv", b"record,key\nvehicle,a\ncar,b\n", "wrong_shape", "line 3, column record"),
        ("csv", b"record,key\n,b\n", "wrong_shape", "line 2, column record"),
        ("csv", b"record,pricing\nbatch,5\n", "wrong_shape", "line 2"),
        ("csv", b"record,key\nbatch,5\n", "wrong_shape", "line 2"),
        ("arrow", arrow_bytes(pa.table({"key": ["a"]})), "unknown_column", "header"),
        (
            "arrow",
            arrow_bytes(pa.table({"vehicle": [{"key": "a"}], "package": [{"key": "b"}]})),
            "wrong_shape",
            "row 1",
        ),
        ("yaml", b"", "unknown_form", "yaml"),
    ],
)
def test_what_is_no_batch_is_told(form: str, content: bytes, code: str, place: str) -> None:
    error = told(content, form)
    assert error.code == code
    assert error.place.startswith(place)


def test_an_unknown_column_is_told_by_the_kind_that_comes_nearest() -> None:
    error = told(b"record,vehicle.drve\n", "csv")
    assert error.message == "Unknown column vehicle.drve. Is this meant behind vehicle: drive?"


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_whatever_comes_is_read_or_told(data: st.DataObject) -> None:
    form = data.draw(st.sampled_from(BATCH_FORMS))
    content = bytearray(OF_BATCHES[form](BATCH))
    places = st.tuples(st.integers(0, len(content) - 1), st.integers(0, 255))
    for place, byte in data.draw(st.lists(places, max_size=4)):
        content[place] = byte
    if data.draw(st.booleans()):
        del content[data.draw(st.integers(0, len(content) - 1)) :]
    # Any other exception is one that a caller could make of nothing.
    with suppress(FormError):
        document = read(bytes(content), form)
        batch, pairs = batch_of_document(document, Pricing(demo_book(), {}))
        assert len(batch.packages) >= len(document.packages)
        assert pairs is None or pairs.packages.size == len(document.pairs or ())
