"""The working of a signal plan, step by step."""

from collections.abc import Iterator

from loomwright.engineering.signal.feeds import PlannedSum, PlannedTakeOff
from loomwright.engineering.signal.path import BANDS, SAME_SIGNAL, SignalPath
from loomwright.engineering.signal.plan import PlannedConnection, SignalPlan
from loomwright.engineering.signal.switching import TurnOnPlan
from loomwright.engineering.working import WorkingStep, seven_digits

OHMS_LAW = "Ohm's law"
LEVEL = "IEC 60027-3 level of a root-power quantity"
SUM_FORMULAS = {SAME_SIGNAL: "|V1 + V2 + ...|", BANDS: "|V1| + |V2| + ..."}
POWER_SUM = "(V1^2 + V2^2 + ...)^0.5"


def signal_working(path: SignalPath, plan: SignalPlan) -> tuple[WorkingStep, ...]:
    """Return the working of a signal plan.

    Parameters
    ----------
    path
        What was asked.
    plan
        The answer to it.

    Returns
    -------
    tuple of WorkingStep
        In the order in which a technician would follow them.
    """
    return (
        *(step for entry in plan.take_offs for step in _take_off_steps(entry)),
        *(step for entry in plan.sums for step in _sum_steps(entry)),
        *(step for entry in plan.connections for step in _level_steps(entry)),
        *(step for entry in plan.connections for step in _noise_steps(entry)),
        *_turn_on_steps(path, plan.turn_on),
    )


def _take_off_steps(entry: PlannedTakeOff) -> Iterator[WorkingStep]:
    take_off, volts = entry.take_off, seven_digits(entry.feed.open_voltage_v)
    if take_off.greatest_power_w is not None and take_off.load_impedance_ohm is not None:
        yield WorkingStep(
            text=f"{take_off.key}: voltage at the onset of clipping",
            formula="(P x Z)^0.5",
            inputs={
                "P_w": seven_digits(take_off.greatest_power_w),
                "Z_ohm": seven_digits(take_off.load_impedance_ohm),
            },
            result=volts,
            unit="V",
            source=f"{OHMS_LAW}, steady sine",
        )
    if entry.load_resistor is not None:
        yield WorkingStep(
            text=f"{take_off.key}: heat in the load resistor on a full sine",
            formula="V^2 / R",
            inputs={"V_v": volts, "R_ohm": seven_digits(entry.load_resistor.resistance_ohm)},
            result=seven_digits(entry.load_resistor.heat_w),
            unit="W",
            source=OHMS_LAW,
        )


def _sum_steps(entry: PlannedSum) -> Iterator[WorkingStep]:
    yield WorkingStep(
        text=f"{entry.sum.key}: greatest voltage of the sum",
        formula=SUM_FORMULAS.get(entry.sum.relation, POWER_SUM),
        inputs={f"V{place}_v": seven_digits(part) for place, part in enumerate(entry.parts_v, 1)},
        result=seven_digits(entry.feed.open_voltage_v),
        unit="V",
        source="superposition",
    )


def _level_steps(entry: PlannedConnection) -> Iterator[WorkingStep]:
    level, ratio = entry.level, entry.connection.converter_ratio
    name, feed_v = entry.input.key, seven_digits(entry.feed.open_voltage_v)
    inputs: dict[str, float | str] = {"V_v": feed_v}
    if ratio is None:
        formula = "V x Zi / (Zi + Zo)"
        inputs["Zi_ohm"] = seven_digits(level.impedance_ohm)
        inputs["Zo_ohm"] = seven_digits(entry.feed.output_impedance_ohm)
    else:
        formula, inputs["n"] = "V / n", seven_digits(ratio)
    yield WorkingStep(
        text=f"{name}: voltage at the input at the source's greatest",
        formula=formula,
        inputs=inputs,
        result=seven_digits(level.voltage_v),
        unit="V",
        source="voltage divider",
    )
    yield WorkingStep(
        text=f"{name}: input voltage that shall just give full output",
        formula="V x 10^(-a / 20)",
        inputs={
            "V_v": seven_digits(level.voltage_v),
            "a_db": seven_digits(entry.connection.gain_overlap_db),
        },
        result=seven_digits(level.setting_voltage_v),
        unit="V",
        source=LEVEL,
    )
    if level.setting_voltage_v:
        yield WorkingStep(
            text=f"{name}: gain above its least",
            formula="20 x log10(G / S)",
            inputs={
                "G_v": seven_digits(level.greatest_voltage_v),
                "S_v": seven_digits(level.setting_voltage_v),
            },
            result=seven_digits(level.gain_above_least_db),
            unit="dB",
            source=LEVEL,
        )


def _noise_steps(entry: PlannedConnection) -> Iterator[WorkingStep]:
    noise = entry.noise
    if noise.interference_v is None or noise.below_signal_db is None:
        return
    yield WorkingStep(
        text=f"{entry.input.key}: ground noise below the signal",
        formula="20 x log10(V / U)",
        inputs={
            "V_v": seven_digits(entry.level.voltage_v),
            "U_v": seven_digits(noise.interference_v),
        },
        result=seven_digits(noise.below_signal_db),
        unit="dB",
        source=LEVEL,
    )


def _turn_on_steps(path: SignalPath, plan: TurnOnPlan) -> Iterator[WorkingStep]:
    currents = [
        seven_digits(entry.turn_on_current_a)
        for entry in path.inputs.values()
        if entry.key not in plan.by_signal and entry.turn_on_current_a
    ]
    if currents:
        yield WorkingStep(
            text="Turn-on current of all equipment together",
            formula="I1 + I2 + ...",
            inputs={f"I{place}_a": current for place, current in enumerate(currents, 1)},
            result=seven_digits(plan.equipment_current_a),
            unit="A",
            source="Kirchhoff's current law",
        )
    coil, relay = plan.coil, path.turn_on.relay if path.turn_on else None
    if coil is None or relay is None:
        return
    current, ohm = seven_digits(coil.coil_current_a), seven_digits(relay.coil_resistance_ohm)
    yield WorkingStep(
        text="Coil current at the greatest system voltage",
        formula="U / R",
        inputs={"U_v": seven_digits(coil.supply_voltage_v), "R_ohm": ohm},
        result=current,
        unit="A",
        source=OHMS_LAW,
    )
    if coil.coil_energy_j is None:
        return
    # Energy and peak are told together, with what they rest on.
    assert relay.coil_inductance_h is not None
    assert coil.stray_capacitance_f is not None
    assert coil.unsuppressed_peak_v is not None
    henry = seven_digits(relay.coil_inductance_h)
    yield WorkingStep(
        text="Energy in the coil",
        formula="L x I^2 / 2",
        inputs={"L_h": henry, "I_a": current},
        result=seven_digits(coil.coil_energy_j),
        unit="J",
        source="energy of an inductance",
    )
    yield WorkingStep(
        text="Bound of the peak without suppression",
        formula="I x (L / C)^0.5",
        inputs={"I_a": current, "L_h": henry, "C_f": seven_digits(coil.stray_capacitance_f)},
        result=seven_digits(coil.unsuppressed_peak_v),
        unit="V",
        source="energy of inductance and capacitance",
    )
    if coil.time_constant_s is not None:
        assert coil.release_time_s is not None  # it follows from the time constant
        yield WorkingStep(
            text="Time until the relay surely releases",
            formula="T x ln((I + D) / (Ir + D))",
            inputs={
                "T_s": seven_digits(coil.time_constant_s),
                "I_a": current,
                "Ir_a": seven_digits(coil.release_current_a),
                "D_a": seven_digits(coil.forward_offset_a),
            },
            result=seven_digits(coil.release_time_s),
            unit="s",
            source="decay of a current in inductance and resistance",
        )
