"""Request and answer of size-conductor."""

from typing import Any, ClassVar

from marshmallow import fields

from loomwright.units import CURRENT, POWER, RESISTANCE, TIME, VOLTAGE
from loomwright.web.quantities import Flag, Key, PlainNumber, Quantity, WholeNumber
from loomwright.web.schemas.base import (
    Answer,
    describe,
    exactly_one_of,
    faults_of_choice,
    faults_of_pair,
    not_both,
    together,
)
from loomwright.web.schemas.common import (
    RETURN_RULE,
    SIZE_KEYS,
    AnswerBase,
    ConductorFamilyFields,
    faults_of_return,
    faults_of_series,
    size_of_series,
)
from loomwright.web.schemas.sensitivity import (
    CONDUCTOR_INPUTS,
    ConductorSensitivityAnswer,
    ConductorToleranceRequest,
    sensitivity_flag,
    sensitivity_member,
    tolerance_list,
)


class SizeConductorRequest(ConductorFamilyFields):
    """What a conductor is chosen for."""

    json_schema_rules: ClassVar[tuple[dict[str, Any], ...]] = (
        exactly_one_of("load_current", "load_power"),
        not_both("allowed_voltage_drop", "allowed_voltage_drop_percent"),
        together("on_time", "off_time"),
        together("fault_current", "clearing_time"),
        size_of_series("smallest_size"),
        size_of_series("given_size"),
        RETURN_RULE,
    )

    load_current = Quantity(
        CURRENT,
        0.001,
        2000.0,
        metadata=describe("Current of the load; instead of load_power."),
    )
    load_power = Quantity(
        POWER,
        0.01,
        50000.0,
        metadata=describe("Power of a constant-power load; instead of load_current."),
    )
    supply_voltage = Quantity(
        VOLTAGE,
        5.0,
        60.0,
        required=True,
        metadata=describe(
            "Open-circuit voltage of the source, or its terminal voltage if source_resistance is 0."
        ),
    )
    source_resistance = Quantity(
        RESISTANCE,
        0.0,
        1.0,
        load_default=0.0,
        metadata=describe("Internal resistance of the source.", default=0.0),
    )
    allowed_voltage_drop = Quantity(
        VOLTAGE,
        0.01,
        4.9,
        metadata=describe("Greatest drop of the wiring, there and back."),
    )
    allowed_voltage_drop_percent = PlainNumber(
        0.1,
        50.0,
        metadata=describe(
            "Greatest drop in percent of supply_voltage; 3 where neither limit is given."
        ),
    )
    return_path = Key(
        ("conductor", "chassis"),
        load_default="conductor",
        metadata=describe(
            "Whether the current returns by a conductor of the same size and route, or by the "
            "chassis.",
            default="conductor",
        ),
    )
    chassis_resistance = Quantity(
        RESISTANCE,
        0.0,
        1.0,
        metadata=describe(
            "Resistance of the chassis return with its ground connection; "
            "required with return_path chassis."
        ),
    )
    joints = WholeNumber(
        0, 50, load_default=0, metadata=describe("Number of joints in the loop.", default=0)
    )
    joint_resistance = Quantity(
        RESISTANCE,
        0.0,
        0.1,
        load_default=0.0002,
        metadata=describe(
            "Resistance of one joint; 0.2 milliohm is common practice, no source.", default=0.0002
        ),
    )
    fuse_resistance = Quantity(
        RESISTANCE,
        0.0,
        1.0,
        load_default=0.0,
        metadata=describe("Resistance of fuse and holder.", default=0.0),
    )
    on_time = Quantity(
        TIME,
        0.001,
        86400.0,
        metadata=describe("Time under load in each cycle; with off_time. Continuous if absent."),
    )
    off_time = Quantity(
        TIME, 0.0, 86400.0, metadata=describe("Time without load in each cycle; with on_time.")
    )
    greatest_parallel_runs = WholeNumber(
        1, 4, load_default=1, metadata=describe("Most equal runs in parallel.", default=1)
    )
    smallest_size = Key(
        SIZE_KEYS,
        metadata=describe(
            "Mechanically smallest size, of the same series; 1 mm2 (ISO 10133, 7.7) if absent."
        ),
    )
    given_size = Key(
        SIZE_KEYS,
        metadata=describe("A size of the same series to be checked instead of chosen."),
    )
    given_parallel_runs = WholeNumber(
        1,
        4,
        load_default=1,
        metadata=describe("Parallel runs of given_size; of no effect without it.", default=1),
    )
    fault_current = Quantity(
        CURRENT,
        1.0,
        100000.0,
        metadata=describe("Short-circuit current to be borne; with clearing_time."),
    )
    clearing_time = Quantity(
        TIME, 0.001, 5.0, metadata=describe("Time until the fuse clears that current.")
    )
    explain = Flag(
        load_default=False, metadata=describe("Add the working, step by step.", default=False)
    )
    sensitivity = sensitivity_flag()
    tolerances = tolerance_list(ConductorToleranceRequest, len(CONDUCTOR_INPUTS))

    def faults_between(
        self, values: dict[str, Any], document: dict[str, Any]
    ) -> list[tuple[str, str]]:
        """Name every fault between fields."""
        return [
            *super().faults_between(values, document),
            *faults_of_choice(document, "load_current", "load_power", required=True),
            *faults_of_choice(
                document, "allowed_voltage_drop", "allowed_voltage_drop_percent", required=False
            ),
            *faults_of_pair(document, "on_time", "off_time"),
            *faults_of_pair(document, "fault_current", "clearing_time"),
            *faults_of_return(values, document),
            *faults_of_series(values, "smallest_size"),
            *faults_of_series(values, "given_size"),
        ]


CRITERIA = [
    "voltage_drop",
    "conductor_temperature",
    "published_ampacity",
    "mechanical",
    "short_circuit",
]


class ConductorCandidateAnswer(Answer):
    """One candidate: a size with a number of parallel runs."""

    size = fields.String(required=True)
    parallel_runs = fields.Integer(required=True)
    cross_section_mm2 = fields.Float(required=True, metadata=describe("Of one run."))
    load_current_a = fields.Float(required=True)
    load_voltage_v = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Null where no operating point exists."),
    )
    voltage_drop_v = fields.Float(required=True)
    voltage_drop_percent = fields.Float(required=True)
    conductor_temperature_c = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "Of the hottest segment; null above the 250 C cap of the model and where no operating "
            "point exists."
        ),
    )
    wiring_loss_w = fields.Float(required=True)
    ampacity_a = fields.Float(
        required=True,
        metadata=describe(
            "Continuous, of all runs, in the least favourable segment; the lower of heat balance "
            "and published table."
        ),
    )
    ampacity_basis = fields.String(
        required=True, metadata=describe("Which governs.", enum=["heat_balance", "published"])
    )
    published_ampacity_a = fields.Float(
        required=True, allow_none=True, metadata=describe("Null where no table covers the size.")
    )
    greatest_length_m = fields.Float(
        required=True, metadata=describe("One-way length at which the drop reaches its limit.")
    )
    voltage_drop_margin_v = fields.Float(required=True)
    temperature_margin_k = fields.Float(required=True, allow_none=True)
    ampacity_margin_a = fields.Float(required=True)
    fails = fields.List(
        fields.String(metadata={"enum": CRITERIA}),
        required=True,
        metadata=describe("Criteria that the candidate misses; empty if it meets all."),
    )


def _columns_of(candidate: type[Answer]) -> dict[str, fields.Field[Any]]:
    """Return the fields of a candidate as lists."""
    return {
        name: fields.List(
            field,
            required=True,
            # The closed list of words belongs to the entries, not to the column.
            metadata={key: value for key, value in field.metadata.items() if key != "enum"},
        )
        for name, field in candidate().fields.items()
    }


_Columns: Any = Answer.from_dict(_columns_of(ConductorCandidateAnswer))


class ConductorCandidatesAnswer(_Columns):  # type: ignore[misc]
    """The candidates as columns; see ConductorCandidateAnswer for the fields."""


class ConductorAssumptionsAnswer(Answer):
    """What the answer rests on, defaults included."""

    series = fields.String(required=True)
    material = fields.String(required=True)
    insulation = fields.String(required=True)
    insulation_rating_c = fields.Float(required=True)
    route_length_m = fields.Float(required=True)
    ambient_temperatures_c = fields.List(fields.Float(), required=True)
    bundled_conductors = fields.List(fields.Integer(), required=True)
    return_path = fields.String(required=True)
    fixed_resistance_ohm = fields.Float(
        required=True, metadata=describe("Chassis, joints and fuse together.")
    )
    source_resistance_ohm = fields.Float(required=True)
    least_cross_section_mm2 = fields.Float(required=True)
    duty = fields.String(required=True, metadata={"enum": ["continuous", "cyclic"]})


class PowerBalanceAnswer(Answer):
    """Power of the chosen or checked candidate: source = load + wiring + source loss."""

    source_power_w = fields.Float(required=True)
    load_power_w = fields.Float(required=True)
    wiring_loss_w = fields.Float(required=True)
    source_loss_w = fields.Float(required=True)


class SizeConductorAnswer(AnswerBase):
    """The choice with every candidate."""

    verdict = fields.String(
        required=True,
        metadata={
            "enum": [
                "conductor_found",
                "no_conductor_meets_criteria",
                "given_size_passes",
                "given_size_fails",
                "no_operating_point",
            ]
        },
    )
    conductor = fields.Nested(
        ConductorCandidateAnswer,
        required=True,
        allow_none=True,
        metadata=describe("The smallest that meets every criterion, or null."),
    )
    checked_conductor = fields.Nested(
        ConductorCandidateAnswer,
        allow_none=True,
        required=True,
        metadata=describe("The given size, or null where none is given."),
    )
    deciding_criterion = fields.String(
        required=True,
        allow_none=True,
        metadata=describe(
            "What the next thinner candidate misses by most; smallest_listed_size where there is "
            "none.",
        ),
    )
    allowed_voltage_drop_v = fields.Float(required=True)
    greatest_power_w = fields.Float(
        required=True,
        metadata=describe("The most that source and thickest candidate can deliver."),
    )
    power_balance = fields.Nested(PowerBalanceAnswer, required=True, allow_none=True)
    candidates = fields.Nested(
        ConductorCandidatesAnswer,
        required=True,
        metadata=describe(
            "Every candidate as columns of equal length, in order of choice: by runs in parallel, "
            "then by size."
        ),
    )
    assumptions = fields.Nested(ConductorAssumptionsAnswer, required=True)
    sensitivity = sensitivity_member(ConductorSensitivityAnswer)
