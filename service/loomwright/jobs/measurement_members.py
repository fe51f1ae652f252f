"""The members of a document of readings, with their bounds and defaults."""

from collections.abc import Mapping

from loomwright.engineering.measurement.measured_network import QUANTITIES
from loomwright.jobs.measurements import DRAIN, GAIN_VOLTAGE
from loomwright.jobs.plan.alternatives import HEADROOM_PERCENT, PLAN_NAMES, RECOMMENDED
from loomwright.pricing.members import Choice, Member, Number, Record, Records, Text, Texts

WHATS = (*QUANTITIES, DRAIN, GAIN_VOLTAGE)
GREATEST_READINGS = 200

METER: Mapping[str, Member] = {
    "accuracy_percent": Number(
        0.0, 20.0, "%", required=False, about="Share of the reading that the maker states."
    ),
    "accuracy_digits": Number(
        0.0, 100.0, required=False, about="Counts of the last digit that the maker adds."
    ),
    "resolution": Number(
        1e-6, 10.0, required=False, about="Value of the last digit, in V or A as the reading."
    ),
}
READING: Mapping[str, Member] = {
    "what": Choice(WHATS, about="What was measured; drops are along the current."),
    "source": Text(
        required=False, about="Key of the source, for source_voltage and drain; for no other."
    ),
    "circuit": Text(required=False, about="Key of the circuit, for all others."),
    "state": Text(
        required=False,
        about="rest, or the key of a load state; load if absent. Neither for drain and "
        "gain_voltage.",
    ),
    "voltage": Number(
        0.0, 200.0, "V", "voltage", required=False, about="Reading of a voltage or a drop."
    ),
    "current": Number(
        0.0, 5000.0, "A", "current", required=False, about="Reading of current and drain."
    ),
    "output_power": Number(
        0.001,
        100_000.0,
        "W",
        "power",
        required=False,
        about="For gain_voltage: the output that the gain is set to.",
    ),
    "load_impedance": Number(
        0.1,
        100.0,
        "ohm",
        "impedance",
        required=False,
        about="For gain_voltage: that the amplifier channel drives.",
    ),
    "meter": Record(
        "Meter",
        METER,
        required=False,
        about="Accuracy in the range that was used; what it leaves out is that of a usual meter.",
    ),
}
LOAD_STATE: Mapping[str, Member] = {
    "key": Text(about="Unique among the load states, and not rest; readings name it in state."),
    "circuits": Texts(1, 50, about="Keys of the circuits whose equipment is switched on."),
}
STANDBY_CURRENT: Mapping[str, Member] = {
    "source": Text(about="Key of the source that it drains."),
    "description": Text(required=False, about="What draws it."),
    "current": Number(
        0.0, 10.0, "A", "current", about="After everything has gone to sleep; they add up."
    ),
}
MEASUREMENT_MEMBERS: Mapping[str, Member] = {
    "plan": Choice(
        PLAN_NAMES, default=RECOMMENDED, about="Plan of plan-installation that was fitted."
    ),
    "headroom_percent": HEADROOM_PERCENT,
    "ambient_temperature": Number(
        -40.0,
        60.0,
        "degC",
        "temperature",
        20.0,
        about="Of the conductors before they carry current.",
    ),
    "load_states": Records(
        "LoadState",
        LOAD_STATE,
        0,
        10,
        "key",
        about="What is switched on while readings are taken. Without any there is the one state "
        "load, in which all equipment of the job is on.",
    ),
    "standby_currents": Records(
        "StandbyCurrent", STANDBY_CURRENT, 0, 100, about="Expected of the drain after sleep."
    ),
    "readings": Records(
        "MeterReading",
        READING,
        0,
        GREATEST_READINGS,
        about="Each what, place and state once. Without any the answer says what to expect.",
    ),
}
