"""The quote of a pair is what the bill of its job says, and a refusal what is wrong with it."""

from datetime import date
from decimal import Decimal

import pytest
from test_pair import parted

from loomwright.batch.pair import package_from_document, pair_job, vehicle_from_document
from loomwright.batch.quote import (
    INVALID_PAIR,
    Pricing,
    Quote,
    Refusal,
    reference_quote,
)
from loomwright.figures import six_digits
from loomwright.jobs.answer import answer_document
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book
from loomwright.jobs.priced_job import priced_job
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables


def quoted(package: dict, vehicle: dict, stated: dict | None = None) -> Quote | Refusal:
    return reference_quote(
        package_from_document(package),
        vehicle_from_document(vehicle),
        Pricing(demo_book(), stated or {}),
    )


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_quote_says_what_the_bill_says(name):
    package, vehicle = parted(name)
    quote = quoted(package, vehicle, {"as_of": "2031-04-30", "deposit": {"percent": "20"}})
    pricing = Pricing(demo_book(), {"as_of": "2031-04-30", "deposit": {"percent": "20"}})
    options = pricing.options(package_from_document(package))
    job = pair_job(package_from_document(package), vehicle_from_document(vehicle))
    priced = priced_job(job, demo_book(), tables(), fuse_tables(), options)
    answer = answer_document(priced)
    assert isinstance(quote, Quote)
    assert quote.verdict == answer["verdict"]
    stated = quote.amounts._asdict()
    tax = stated.pop("tax_total")
    assert {field: str(amount) for field, amount in stated.items()} == {
        field: answer[field] for field in stated
    }
    assert tax == sum(Decimal(entry["amount"]) for entry in answer["taxes"])
    assert quote.amounts.net_total + tax + quote.amounts.exempt_total == quote.amounts.total
    minutes = int(60 * quote.labour_hours)
    hours, rest = divmod(minutes, 60)
    assert answer["labour_duration"] == f"PT{hours}H" + (f"{rest}M" if rest else "")
    for circuit, other in zip(quote.circuits, answer["circuits"], strict=True):
        assert circuit.key == other["key"]
        assert circuit.verdict == other["verdict"]
        assert circuit.conductor == other["conductor"]["size"]
        assert circuit.fuse_type == other["fuse"]["fuse_type"]
        assert circuit.rated_current_a == other["fuse"]["rated_current_a"]
    circuits = answer["circuits"]
    assert quote.voltage_drop_percent == max(entry["voltage_drop_percent"] for entry in circuits)
    assert quote.conductor_temperature_c == max(
        entry["conductor_temperature_c"] for entry in circuits
    )
    assert quote.load_current_a == six_digits(
        sum(source["load_current_a"] for source in answer["power_sources"])
    )
    assert quote.unpriced == len(answer["unpriced"]) == 0
    last_day = answer["valid_until"]
    assert quote.valid_until == (None if last_day is None else date.fromisoformat(last_day))


def test_the_pricing_of_a_package_goes_before_that_of_the_batch():
    package, vehicle = parted("combustion_car")
    discount = {"document_discount": {"percent": "10"}}
    plain = quoted(package, vehicle)
    less = quoted(package, vehicle, discount)
    package["pricing"] = {"package": {"name": "All in", "price": "700.00"}}
    fixed = quoted(package, vehicle, discount)
    assert less.amounts.lines_total < plain.amounts.lines_total
    assert fixed.amounts.lines_total == Decimal("700.00")
    package["pricing"] = discount
    shared = quoted(package, vehicle, {"package": {"name": "All in", "price": "700.00"}})
    assert shared == less


def test_a_pair_at_fault_is_refused_with_every_fault():
    package, vehicle = parted("combustion_car")
    vehicle["circuits"][0]["route"][0]["length"] = -1
    vehicle["vehicle"]["drive"] = "steam"
    refusal = quoted(package, vehicle)
    assert isinstance(refusal, Refusal)
    assert refusal.code == INVALID_PAIR
    assert [fault.pointer for fault in refusal.faults] == [
        "/vehicle/drive",
        "/circuits/0/route/0/length",
    ]
    for fault in refusal.faults:
        assert f"{fault.pointer}: {fault.message}" in refusal.detail


def test_pricing_at_fault_is_refused_with_its_place():
    package, vehicle = parted("combustion_car")
    package["pricing"] = {"as_of": "yesterday", "discount": 3}
    refusal = quoted(package, vehicle)
    assert {fault.pointer for fault in refusal.faults} == {"/pricing/as_of", "/pricing/discount"}


def test_a_job_outside_the_models_is_refused_with_the_code_of_the_engineering():
    package, vehicle = parted("combustion_car")
    vehicle["vehicle"]["difficulty"] = "underwater"
    refusal = quoted(package, vehicle)
    assert refusal.code == "unknown_difficulty"
    assert [fault.pointer for fault in refusal.faults] == ["/vehicle/difficulty"]
