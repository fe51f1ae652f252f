import gzip
import io
from collections.abc import Iterator
from contextlib import suppress
from datetime import date
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pytest
from drawn_documents import Document, packages, vehicles
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stated_forms import OF_ONE_KIND, arrow_bytes, csv_bytes, parquet_bytes

from loomwright.batch.forms.form_error import FormError
from loomwright.batch.forms.pair_list import PAIR_RECORD
from loomwright.batch.forms.reading import (
    FORMS,
    packages_of_path,
    pairs_of_path,
    read_packages,
    read_vehicles,
    vehicles_of_path,
)
from loomwright.batch.pair import (
    Vehicle,
    package_from_document,
    package_record,
    vehicle_from_document,
    vehicle_record,
)

LAW = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
VAN = {"key": "van", "vehicle": {"description": "Van", "drive": "combustion"}}
BUS = {"key": "bus", "power_sources": [{"key": "main", "source_voltage": 25.2}]}


def read(content: bytes, form: str) -> list[Vehicle]:
    return list(read_vehicles(io.BytesIO(content), form))


def told(content: bytes, form: str) -> FormError:
    with pytest.raises(FormError) as raised:
        read(content, form)
    return raised.value


def faults(vehicle: Vehicle) -> list[tuple[str, str]]:
    return [(fault.pointer, fault.message) for fault in vehicle.faults]


@pytest.mark.parametrize("form", FORMS)
@LAW
@given(st.lists(packages, max_size=2, unique_by=lambda each: each["key"]))
def test_packages_are_read_in_every_form(form: str, documents: list[Document]) -> None:
    content = OF_ONE_KIND[form](documents, package_record())
    if documents or form in ("json", "ndjson"):
        found = list(read_packages(io.BytesIO(content), form))
        assert found == [package_from_document(each) for each in documents]


@pytest.mark.parametrize("form", FORMS)
@LAW
@given(st.lists(vehicles, max_size=3, unique_by=lambda each: each["key"]))
def test_vehicles_are_read_in_every_form(form: str, documents: list[Document]) -> None:
    content = OF_ONE_KIND[form](documents, vehicle_record())
    if documents or form in ("json", "ndjson"):
        assert read(content, form) == [vehicle_from_document(each) for each in documents]


@pytest.mark.parametrize("form", FORMS)
def test_a_file_tells_its_form_by_its_name(form: str, tmp_path: Path) -> None:
    path = tmp_path / f"some.{form}"
    path.write_bytes(OF_ONE_KIND[form]([VAN, BUS], vehicle_record()))
    assert [vehicle.key for vehicle in vehicles_of_path(path)] == ["van", "bus"]
    document = {"key": "p", "job": {"title": "Some"}}
    path.write_bytes(OF_ONE_KIND[form]([document], package_record()))
    assert list(packages_of_path(path)) == [package_from_document(document)]
    if form != "parquet":
        packed = tmp_path / f"some.{form}.GZ"
        packed.write_bytes(gzip.compress(path.read_bytes()))
        assert list(packages_of_path(packed)) == list(packages_of_path(path))


@pytest.mark.parametrize("form", FORMS)
def test_pairs_are_read_in_every_form(form: str, tmp_path: Path) -> None:
    documents = [{"package": "007", "vehicle": "a b"}, {"package": "p"}]
    path = tmp_path / f"pairs.{form}"
    path.write_bytes(OF_ONE_KIND[form](documents, PAIR_RECORD))
    first, second = pairs_of_path(path)
    assert first == ("007", "a b", ())
    assert second[:2] == ("p", "")
    assert [fault.pointer for fault in second.faults] == ["/pairs/1/vehicle"]


@pytest.mark.parametrize("name", ["some", "some.txt", "some.gz", "some.xlsx.gz", "a.parquet.gz"])
def test_a_name_that_tells_no_form(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(b"")
    with pytest.raises(FormError) as raised:
        list(vehicles_of_path(path))
    assert raised.value.code == "unknown_form"


def test_nested_columns() -> None:
    documents = [
        {
            "key": "van",
            "vehicle": {"description": "Van", "hazards": ["start_stop"]},
            "circuits": [
                {"key": "a", "route": [{"length": 1.5}, {"length": 2.0, "loomed": False}]},
                {"key": "b", "taps": [], "return_path": {"stud": "m8"}},
            ],
        },
        {"key": "bus", "vehicle": {"description": "Bus"}, "circuits": []},
    ]
    table = pa.Table.from_pylist(documents)
    expected = [vehicle_from_document(each) for each in documents]
    assert read(arrow_bytes(table), "arrow") == expected
    assert read(parquet_bytes(table), "parquet") == expected


def test_typed_columns_in_dotted_names() -> None:
    table = pa.table(
        {
            "key": pa.array([7, 8]),
            "vehicle.system_voltage": pa.array([12, None], pa.int8()),
            "vehicle.hazards": pa.array([["start_stop"], None]),
            "vehicle.description": pa.array(["Van", "Bus"]).dictionary_encode(),
            "power_sources.main.source_voltage": pa.array([Decimal("12.60"), Decimal("24.00")]),
            "circuits.a.route": pa.array([[{"length": 2.5}], None]),
            "circuits.a.sheathed": [True, None],
        }
    )
    assert read(arrow_bytes(table), "arrow") == [
        vehicle_from_document(
            {
                "key": "7",
                "vehicle": {
                    "system_voltage": 12,
                    "hazards": ["start_stop"],
                    "description": "Van",
                },
                "power_sources": [{"key": "main", "source_voltage": 12.6}],
                "circuits": [{"key": "a", "route": [{"length": 2.5}], "sheathed": True}],
            }
        ),
        vehicle_from_document(
            {
                "key": "8",
                "vehicle": {"description": "Bus"},
                "power_sources": [{"key": "main", "source_voltage": 24}],
            }
        ),
    ]


def test_typed_days_and_amounts_of_packages() -> None:
    table = pa.table(
        {
            "key": ["p"],
            "job.title": ["Some"],
            "pricing.as_of": [date(2031, 4, 30)],
            "pricing.package.price": [Decimal("199.90")],
            "pricing.deposit": [{"amount": Decimal("20.00")}],
        }
    )
    (package,) = read_packages(io.BytesIO(arrow_bytes(table)), "arrow")
    assert package.pricing == {
        "as_of": "2031-04-30",
        "package": {"price": "199.90"},
        "deposit": {"amount": "20.00"},
    }


def test_an_item_at_fault_spoils_nothing_else() -> None:
    lines = [
        b'{"key": "a", "vehicle": {}}',
        b"",
        b'{"key": "b", "wheels": 4}',
        b"7",
        b'{"vehicle": {}}',
        b'{"key": " x"}',
        b'{"key": "a"}',
        b'{"key": "c"}',
    ]
    found = read(b"\n".join(lines), "ndjson")
    assert [vehicle.key for vehicle in found] == ["a", "b", "", "", "", "a", "c"]
    assert [faults(vehicle) for vehicle in found] == [
        [],
        [
            (
                "/vehicles/1/wheels",
                "line 3: Unknown member; remove it or check its spelling.",
            )
        ],
        [("/vehicles/2", "line 4: An object is needed.")],
        [("/vehicles/3/key", "line 5: Missing; it is required.")],
        [
            (
                "/vehicles/4/key",
                "line 6: A text of 1 to 200 printable characters is needed, the first no space.",
            )
        ],
        [("/vehicles/5/key", "line 7: That of line 1 is the same; keys are unique.")],
        [],
    ]


def test_faults_of_cells_name_line_and_column() -> None:
    content = csv_bytes(
        [
            ["key", "vehicle.description", "circuits.feed.route.0.length"],
            ["a", "two\r\nlines", "3"],
            ["b", "", "far"],
            ["c", ""],
            ["d", "", "4"],
        ]
    )
    found = read(content, "csv")
    assert [vehicle.key for vehicle in found] == ["a", "b", "c", "d"]
    assert not found[0].faults
    ((pointer, message),) = faults(found[1])
    assert pointer == "/vehicles/1"
    assert message.startswith("line 4: column circuits.feed.route.0.length: A number in m")
    assert faults(found[2]) == [
        ("/vehicles/2", "line 5: The row has 2 cells, the header has 3."),
    ]
    assert found[3] == vehicle_from_document(
        {"key": "d", "circuits": [{"key": "feed", "route": [{"length": 4}]}]}
    )


def test_many_faults_are_cut() -> None:
    document = {"key": "a", **{f"m{number}": 0 for number in range(30)}}
    ((vehicle),) = read(OF_ONE_KIND["json"]([document], vehicle_record()), "json")
    assert len(vehicle.faults) == 20


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_marks_and_line_ends_of_csv(start: bytes, end: bytes) -> None:
    content = start + end.join([b'key,"vehicle.description"', b'"a","x, ""y"""', b"", b",", b"b,"])
    found = read(content, "csv")
    assert [vehicle.key for vehicle in found] == ["a", "b"]
    assert found[0].job == {"vehicle": {"description": 'x, "y"'}}


def test_a_byte_order_mark_before_json() -> None:
    for form in ("json", "ndjson"):
        content = b"\xef\xbb\xbf" + OF_ONE_KIND[form]([VAN], vehicle_record())
        assert read(content, form) == [vehicle_from_document(VAN)]


ARROW = OF_ONE_KIND["arrow"]([VAN, BUS, {"key": "c"}], vehicle_record())
PARQUET = OF_ONE_KIND["parquet"]([VAN, BUS], vehicle_record())


@pytest.mark.parametrize(
    ("form", "content", "code", "place"),
    [
        ("json", b"", "malformed_json", "line 1, character 1"),
        ("json", b'[{"key": "a"},\n{"key": ]', "malformed_json", "line 2, character 9"),
        ("json", b'[{"key": NaN}]', "malformed_json", "line 1, character 10"),
        ("json", b"[" * 5000, "malformed_json", "line 1"),
        ("json", b'[{"key":\n"\xe4"}]', "not_utf_8", "line 2, byte 2"),
        ("json", b'{"key": "a"}', "wrong_shape", ""),
        ("ndjson", b'{"key": "a"}\n{"key"\n', "malformed_json", "line 2, character"),
        ("ndjson", b'{"key": "a"}\n\n{"key": "\xff"}\n', "not_utf_8", "line 3, byte 10"),
        ("csv", b"", "malformed_csv", "line 1"),
        ("csv", b'key\n"a\n', "malformed_csv", "line 2"),
        ("csv", b'key\n"a"b\n', "malformed_csv", "line 2"),
        ("csv", b"key\na\n\xe4\n", "not_utf_8", "line 3, byte 1"),
        ("csv", b"key;vehicle.drive\na;b\n", "malformed_csv", "line 1"),
        ("csv", b"key,key\na,b\n", "malformed_csv", "line 1"),
        ("csv", b"key,colour\na,b\n", "unknown_column", "header"),
        ("csv", b"," * 20_000 + b"x\n", "malformed_csv", "line 1"),
        ("csv", b"key\n" + b"a" * 200_000, "malformed_csv", "line 2"),
        ("arrow", b"", "malformed_arrow", ""),
        ("arrow", b"key,colour", "malformed_arrow", ""),
        ("arrow", ARROW[:-20], "malformed_arrow", "behind row"),
        ("arrow", ARROW[: len(ARROW) // 2], "malformed_arrow", ""),
        ("arrow", arrow_bytes(pa.table({"colour": ["red"]})), "unknown_column", "header"),
        ("arrow", arrow_bytes(pa.table([["a"], ["b"]], ["key", "key"])), "malformed_arrow", ""),
        ("parquet", b"", "malformed_parquet", ""),
        ("parquet", PARQUET[:-9], "malformed_parquet", ""),
        ("parquet", PARQUET[:40] + b"\xff" * 40 + PARQUET[80:], "malformed_parquet", ""),
        ("xml", b"", "unknown_form", "xml"),
    ],
)
def test_what_cannot_be_read_is_told(form: str, content: bytes, code: str, place: str) -> None:
    error = told(content, form)
    assert error.code == code
    assert error.place.startswith(place)
    assert error.message.endswith((".", "?"))


def test_a_stream_is_read_as_it_comes() -> None:
    class Source:
        taken = 0

        def read(self, size: int = -1, /) -> bytes:
            assert size > 0
            self.taken += 1
            return b'{"key": "%d"}\n' % self.taken

    source = Source()
    found = read_vehicles(source, "ndjson")
    assert [next(found).key for _ in range(3)] == ["1", "2", "3"]
    assert source.taken < 10


@pytest.mark.parametrize("form", ["json", "ndjson", "csv", "arrow"])
def test_wrong_gzip_is_told(form: str) -> None:
    packed = gzip.compress(OF_ONE_KIND[form]([VAN] * 50, vehicle_record()))
    for content in (packed[:-9], b"x" + packed[1:], packed[:30] + b"\0" * 9 + packed[39:]):
        with pytest.raises(FormError) as raised:
            list(read_vehicles(io.BytesIO(content), form, gzipped=True))
        assert raised.value.code == "malformed_gzip"


def test_what_unpacks_beyond_the_limit_is_told() -> None:
    packed = gzip.compress(b" " * 10_000_000)
    assert len(packed) < 20_000
    with pytest.raises(FormError) as raised:
        list(read_vehicles(io.BytesIO(packed), "json", gzipped=True, most_bytes=100_000))
    assert raised.value.code == "too_large"
    assert "100000 bytes" in raised.value.message


def drawn_bytes() -> Iterator[st.SearchStrategy[bytes]]:
    """Bytes at all, and right ones with a few of them wrong."""
    yield st.binary(max_size=200)
    for content in (ARROW, PARQUET, OF_ONE_KIND["csv"]([VAN, BUS], vehicle_record())):
        changes = st.lists(
            st.tuples(st.integers(0, len(content) - 1), st.integers(0, 255)), max_size=4
        )
        yield changes.map(lambda each, whole=content: changed(whole, each))


def changed(content: bytes, changes: list[tuple[int, int]]) -> bytes:
    made = bytearray(content)
    for place, byte in changes:
        made[place] = byte
    return bytes(made)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(FORMS), st.one_of(*drawn_bytes()))
def test_whatever_comes_is_read_or_told(form: str, content: bytes) -> None:
    # Any other exception is one that a caller could make of nothing.
    with suppress(FormError):
        read(content, form)
