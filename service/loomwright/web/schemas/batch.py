"""Request and answer of price-packages."""

from collections.abc import Mapping
from functools import cache
from typing import Any

from marshmallow import fields

from loomwright.batch.forms.pair_list import PAIR_RECORD
from loomwright.batch.pair import OF_VEHICLES, package_record, vehicle_record
from loomwright.batch.quote import Amounts
from loomwright.batch.rows import CIRCUITS, COLUMNS, OF_PAIR
from loomwright.jobs.demo_library import demo_job
from loomwright.pricing.members import Record, Records
from loomwright.pricing.pricing_options import BATCH_PRICING_RECORD
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.bill import MONEY, PriceBookAnswer
from loomwright.web.schemas.bill_request import REQUEST_RULES
from loomwright.web.schemas.common import CautionAnswer
from loomwright.web.schemas.documents import JsonSchema, components
from loomwright.web.schemas.price_book import BOOK_CHOICE, at_most_one_book

GREATEST_PACKAGES = 1000
GREATEST_VEHICLES = 20_000
GREATEST_PAIRS = 1_000_000
GREATEST_BATCH_BYTES = 16 * 1024 * 1024

# What a batch states beside its items.
BATCH_SETTINGS = Record("BatchSettings", {**BOOK_CHOICE, "pricing": BATCH_PRICING_RECORD})
BATCH = Record(
    "PricePackagesRequest",
    {
        "packages": Records(
            "Package",
            package_record().members,
            1,
            GREATEST_PACKAGES,
            unique="key",
            about="Each a job as far as no vehicle decides it, under a key of its own.",
        ),
        "vehicles": Records(
            "VehicleVariant",
            vehicle_record().members,
            1,
            GREATEST_VEHICLES,
            unique="key",
            about="Each with what it states of any job, under a key of its own.",
        ),
        "pairs": Records(
            PAIR_RECORD.name,
            PAIR_RECORD.members,
            0,
            GREATEST_PAIRS,
            about="What is priced, in this order; every package for every vehicle if absent.",
        ),
        **BATCH_SETTINGS.members,
    },
)


@cache
def batch_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(BATCH, {BATCH.name: at_most_one_book, **REQUEST_RULES})


# --- examples ---


def split_job(job: Mapping[str, Any], package: str, vehicle: str) -> tuple[Any, Any]:
    """Return a job as a package and a vehicle that make it up together.

    Parameters
    ----------
    job
        A job document.
    package
        Key of the package.
    vehicle
        Key of the vehicle, which gets the lengths of all routes beside what describes it.

    Returns
    -------
    tuple
        Documents of the package and of the vehicle.
    """
    circuits = [dict(circuit) for circuit in job["circuits"]]
    routes = [{"key": circuit["key"], "route": circuit.pop("route")} for circuit in circuits]
    kept = {name: value for name, value in job.items() if name not in OF_VEHICLES}
    return (
        {"key": package, "job": {**kept, "circuits": circuits}},
        {"key": vehicle, **{name: job[name] for name in OF_VEHICLES}, "circuits": routes},
    )


def _longer(vehicle: Mapping[str, Any], key: str, metres: float) -> dict[str, Any]:
    """Return a vehicle whose last segments are longer."""
    circuits = [
        {
            **circuit,
            "route": [
                *circuit["route"][:-1],
                {**circuit["route"][-1], "length": circuit["route"][-1]["length"] + metres},
            ],
        }
        for circuit in vehicle["circuits"]
    ]
    return {**vehicle, "key": key, "circuits": circuits}


def batch_examples() -> dict[str, dict[str, Any]]:
    """Return a batch of one package for two vehicles, and one of a listed pair and a wrong one."""
    package, hatchback = split_job(demo_job("combustion_car"), "compact_amplifier", "hatchback")
    estate = _longer(hatchback, "estate", 1.5)
    (source,) = hatchback["power_sources"]
    # No source of a 12 V system; a schema cannot tell, as it does not compare.
    wrong = {**hatchback, "key": "wrong", "power_sources": [{**source, "source_voltage": 25.2}]}
    return {
        "every_package_for_every_vehicle": {"packages": [package], "vehicles": [hatchback, estate]},
        "listed_pairs_with_a_wrong_vehicle": {
            "packages": [package],
            "vehicles": [wrong, estate],
            "pairs": [
                {"package": package["key"], "vehicle": "estate"},
                {"package": package["key"], "vehicle": wrong["key"]},
            ],
            "pricing": {"as_of": "2031-04-30"},
        },
    }


# --- answer ---


class PackageCircuitAnswer(Answer):
    """A circuit in a quote; its sizes are null where none was found."""

    key = fields.String(required=True)
    verdict = fields.String(required=True)
    conductor = fields.String(
        required=True, allow_none=True, metadata=describe("Size of the conductor.")
    )
    fuse_type = fields.String(required=True, allow_none=True)
    rated_current_a = fields.Float(required=True, allow_none=True)


def _column(name: str) -> fields.Field[Any]:
    # A row without a quote has nothing but the pair and why.
    common: dict[str, Any] = {"required": True, "allow_none": name not in OF_PAIR}
    about = describe(COLUMNS[name].about)
    if name in Amounts._fields:
        return fields.String(**common, metadata={**MONEY, **about})
    if name == CIRCUITS:
        return fields.List(fields.Nested(PackageCircuitAnswer), **common, metadata=about)
    kind = _OTHER_THAN_TEXT.get(name, fields.String)
    return kind(**common, metadata={**about, **({"x-unit": "h"} if name == _HOURS else {})})


_HOURS = "labour_hours"
_OTHER_THAN_TEXT: Mapping[str, type[fields.Field[Any]]] = {
    _HOURS: fields.Float,
    "load_current_a": fields.Float,
    "voltage_drop_percent": fields.Float,
    "conductor_temperature_c": fields.Float,
    "unpriced": fields.Integer,
    "valid_until": fields.Date,
}
PackageQuoteAnswer = Answer.from_dict(
    {name: _column(name) for name in COLUMNS}, name="PackageQuoteAnswer"
)


class PackageTotalsAnswer(Answer):
    """Totals of the complete quotes of a package."""

    package = fields.String(required=True)
    quotes = fields.Integer(required=True, metadata=describe("How many there are."))
    least = fields.String(required=True, metadata=MONEY)
    greatest = fields.String(required=True, metadata=MONEY)
    sum = fields.String(required=True, metadata=MONEY)


class BatchSummaryAnswer(Answer):
    """What all rows come to."""

    rows = fields.Integer(required=True, metadata=describe("How many there are."))
    verdicts = fields.Dict(
        keys=fields.String(),
        values=fields.Integer(),
        required=True,
        metadata=describe("Number of quotes by verdict."),
    )
    refusals = fields.Dict(
        keys=fields.String(),
        values=fields.Integer(),
        required=True,
        metadata=describe("Number of rows without a quote by code."),
    )
    currency = fields.String(required=True, metadata=describe("ISO 4217 code."))
    totals = fields.List(
        fields.Nested(PackageTotalsAnswer),
        required=True,
        metadata=describe("Of complete quotes, by package."),
    )
    price_book = fields.Nested(PriceBookAnswer, required=True)
    cautions = fields.List(fields.Nested(CautionAnswer), required=True)
    engine_version = fields.String(required=True)


class PricePackagesAnswer(Answer):
    """Quotes of all pairs in one object; NDJSON has the same, a line for each row."""

    rows = fields.List(fields.Nested(PackageQuoteAnswer), required=True)
    summary = fields.Nested(BatchSummaryAnswer, required=True)
