from typing import Any

import pytest
from drawn_documents import Document, packages, vehicles
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomwright.batch.forms.dotted import (
    Columns,
    UnknownColumnError,
    cells_of_document,
    table_of_documents,
)
from loomwright.batch.pair import package_record, vehicle_record
from loomwright.pricing.members import Record

LAW = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def columns_of(record: Record, names: list[str]) -> Columns:
    columns = Columns(record)
    for index, name in enumerate(names):
        columns.add(index, name)
    return columns


def read(record: Record, cells: dict[str, Any]) -> tuple[Document, list[str]]:
    return columns_of(record, list(cells)).document(list(cells.values()))


@LAW
@given(packages)
def test_a_package_comes_back_from_its_cells(document: Document) -> None:
    cells = cells_of_document(document, package_record())
    assert all(cells.values())
    assert read(package_record(), cells) == (document, [])


@LAW
@given(vehicles)
def test_a_vehicle_comes_back_from_its_cells(document: Document) -> None:
    assert read(vehicle_record(), cells_of_document(document, vehicle_record())) == (document, [])
    whole = cells_of_document(document, vehicle_record(), keys_in_columns=False)
    assert read(vehicle_record(), whole) == (document, [])


@LAW
@given(st.lists(vehicles, max_size=3))
def test_vehicles_come_back_from_one_table(documents: list[Document]) -> None:
    header, rows = table_of_documents(documents, vehicle_record())
    columns = columns_of(vehicle_record(), header)
    assert [columns.document(row) for row in rows] == [(each, []) for each in documents]


def test_the_columns_of_a_vehicle() -> None:
    document = {
        "key": "van",
        "vehicle": {
            "description": "Van",
            "drive": "combustion",
            "hazards": ["airbags_on_route", "fuel_lines"],
        },
        "power_sources": [{"key": "main", "source_voltage": 12.6}],
        "circuits": [
            {
                "key": "feed",
                "route": [{"length": "16 ft", "loomed": False}, {"length": 2.0}],
                "return_path": {"ground_lead_length": 0.5},
                "taps": [],
            },
            {"key": "a.b~"},
        ],
    }
    assert cells_of_document(document, vehicle_record()) == {
        "key": "van",
        "vehicle.description": "Van",
        "vehicle.drive": "combustion",
        "vehicle.hazards": "airbags_on_route fuel_lines",
        "power_sources.main.source_voltage": "12.6",
        "circuits.feed.route.0.length": "16 ft",
        "circuits.feed.route.0.loomed": "false",
        "circuits.feed.route.1.length": "2",
        "circuits.feed.return_path.ground_lead_length": "0.5",
        "circuits.feed.taps": "[]",
        "circuits.a~1b~0.key": "a.b~",
    }


def test_texts_stay_texts_and_numbers_become_numbers() -> None:
    cells = {
        "key": "2024",
        "vehicle.description": "1.5",
        "vehicle.system_voltage": "12",
        "circuits.feed.route.0.length": "1.5",
        "circuits.feed.route.0.taped": "TRUE",
    }
    document, faults = read(vehicle_record(), cells)
    assert not faults
    assert document == {
        "key": "2024",
        "vehicle": {"description": "1.5", "system_voltage": 12},
        "circuits": [{"key": "feed", "route": [{"length": 1.5, "taped": True}]}],
    }


def test_empty_cells_are_absent() -> None:
    cells = {"key": "a", "vehicle.drive": "", "circuits.feed.route.0.length": None}
    assert read(vehicle_record(), cells) == ({"key": "a"}, [])


def test_a_list_or_an_object_may_stand_in_one_cell() -> None:
    cells = {"circuits.feed.route": '[{"length": 2}]', "vehicle": '{"drive": "electric"}'}
    assert read(vehicle_record(), cells)[0] == {
        "circuits": [{"key": "feed", "route": [{"length": 2}]}],
        "vehicle": {"drive": "electric"},
    }


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        (
            {"circuits.feed.route.0.length": "long"},
            "column circuits.feed.route.0.length: A number in m is needed. Or a number with one "
            "of these units: ",
        ),
        ({"circuits.feed.route.0.length": "1,5"}, "write 1.5"),
        ({"vehicle.system_voltage": "13"}, "One of these numbers is needed, in V or with that"),
        ({"circuits.feed.route.0.loomed": "yes"}, "loomed: true or false is needed."),
        ({"vehicle.drive": "steam"}, "column vehicle.drive: One of these is needed: "),
        (
            {"vehicle.hazards": "airbags_on_route,fuel_lines"},
            "column vehicle.hazards: One of these is needed: ",
        ),
        ({"circuits.feed.route": "[{"}, "column circuits.feed.route: A list of objects is needed"),
        ({"circuits.feed.return_path": "[]"}, "An object is needed, as JSON text."),
        ({"circuits.feed.route.1.length": "2"}, "column circuits.feed.route.0: It is empty"),
        ({"circuits.feed.key": "other"}, "column circuits.feed.key: feed is needed"),
        (
            {"vehicle": '{"drive": "electric"}', "vehicle.drive": "electric"},
            "column vehicle: State it either in this column or in those below it.",
        ),
    ],
)
def test_a_cell_at_fault_is_told_with_its_column(cells: dict[str, str], message: str) -> None:
    _, faults = read(vehicle_record(), cells)
    assert len(faults) == 1
    assert message in faults[0]


def test_bounds_are_left_to_the_job() -> None:
    # As in JSON, where a circuit out of bounds matters to packages that have it alone.
    cells = {"circuits.feed.route.0.length": "9999 m", "circuits.feed.joint_resistance": "-1"}
    assert read(vehicle_record(), cells)[1] == []


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("vehicle.drve", "Is this meant behind vehicle: drive?"),
        ("colour", "One of these is needed: circuits, key, power_sources, vehicle."),
        ("circuits.feed.route.x.length", "A number from 0 to 19 is needed, not x."),
        ("circuits.feed.route.20.length", "A number from 0 to 19 is needed, not 20."),
        ("circuits.feed.route.00.length", "A number from 0 to 19 is needed, not 00."),
        ("circuits.feed", "Behind circuits the key of an item and the name of a member are"),
        ("circuits.feed.route.0", "Behind circuits.feed.route the number of an item and the"),
        ("key.x", "key has no parts."),
        ("", "One of these is needed"),
    ],
)
def test_an_unknown_column_is_told_with_what_is_accepted(name: str, message: str) -> None:
    with pytest.raises(UnknownColumnError, match=f"Unknown column {name}") as told:
        Columns(vehicle_record()).add(0, name)
    assert message in str(told.value)


def test_items_in_another_order_than_the_header_stand_in_one_cell() -> None:
    circuits = [{"key": "a", "sheathed": True}, {"key": "b", "sheathed": False}]
    documents = [{"key": "1", "circuits": circuits}, {"key": "2", "circuits": circuits[::-1]}]
    header, rows = table_of_documents(documents, vehicle_record())
    assert header == ["key", "circuits.a.sheathed", "circuits.b.sheathed", "circuits"]
    assert rows[0] == ["1", "true", "false", ""]
    assert rows[1][:3] == ["2", "", ""]
