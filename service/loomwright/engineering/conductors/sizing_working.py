"""The working of one conductor candidate, step by step."""

import math
from collections.abc import Iterator

from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest
from loomwright.engineering.conductors.resistance import (
    resistance_20c_ohm_per_m,
    temperature_coefficient_20c_per_k,
)
from loomwright.engineering.conductors.sizing import limit_of_power_load
from loomwright.engineering.working import WorkingStep, seven_digits
from loomwright.tables.records import Tables


def conductor_working(
    request: ConductorRequest, answer: ConductorAnswer, index: int, tables: Tables
) -> tuple[WorkingStep, ...]:
    """Return the working of a candidate.

    Parameters
    ----------
    request
        What was asked.
    answer
        The answer with its candidates.
    index
        Which candidate.
    tables
        For the resistance of the size.

    Returns
    -------
    tuple of WorkingStep
        Empty where no operating point exists.
    """
    if not answer.candidates.operating_point_exists[index]:
        return ()
    return (
        *_resistance_steps(request, answer, index, tables),
        *_drop_steps(request, answer, index),
        *_limit_steps(request, answer, index),
    )


def _resistance_steps(
    request: ConductorRequest, answer: ConductorAnswer, index: int, tables: Tables
) -> Iterator[WorkingStep]:
    found = answer.candidates
    size = found.sizes[index]
    cold = resistance_20c_ohm_per_m(size, request.material, tables.materials["copper"])
    coefficient = temperature_coefficient_20c_per_k(size, request.material)
    listed = request.material.key in size.resistance_20c_ohm_per_m
    yield WorkingStep(
        text=f"Resistance of {size.key} {request.material.name} at 20 C",
        formula="printed limit" if listed else "rho x 1.02 / A, or copper limit x rho / rho_copper",
        inputs={
            "rho_ohm_mm2_per_m": seven_digits(request.material.resistivity_20c_ohm_m * 1e6),
            "A_mm2": seven_digits(size.cross_section_m2 * 1e6),
        },
        result=seven_digits(cold * 1e3),
        unit="ohm/km",
        source=size.provenance.source,
    )
    loop = float(found.loop_resistance_ohm[index]) - request.wiring_fixed_resistance_ohm
    ways = 2.0 if request.return_by_conductor else 1.0
    runs = int(found.parallel_runs[index])
    temperature = (loop * runs / (ways * request.route_length_m * cold) - 1.0) / coefficient + 20.0
    yield WorkingStep(
        text="Mean conductor temperature along the route, from the heat balance of each segment",
        formula="I^2 R(T) = pi D h (Ts - Ta) + pi D eps sigma (Ts^4 - Ta^4); "
        "T = Ts + q rho_t ln(D / d) / (2 pi)",
        inputs={
            "I_a": seven_digits(float(found.load_current_a[index])),
            "runs": float(runs),
            "d_mm": seven_digits(size.conductor_diameter_m * 1e3),
            "D_mm": seven_digits(size.outside_diameter_m * 1e3),
            "Ta_c": ", ".join(
                f"{segment.ambient_temperature_k - 273.15:g}" for segment in request.segments
            ),
        },
        result=seven_digits(temperature),
        unit="degC",
        source="Churchill and Chu (1975); IEC 60287-2-1:2015, 4.1.2.1",
    )
    yield WorkingStep(
        text="Resistance of the conductors in the loop at that temperature",
        formula="ways x L x R20 x (1 + alpha x (T - 20)) / runs",
        inputs={
            "ways": ways,
            "L_m": seven_digits(request.route_length_m),
            "R20_ohm_per_m": seven_digits(cold),
            "alpha_per_k": coefficient,
            "T_c": seven_digits(temperature),
            "runs": float(runs),
        },
        result=seven_digits(loop),
        unit="ohm",
        source="IEC 60028:1925",
    )


def _drop_steps(
    request: ConductorRequest, answer: ConductorAnswer, index: int
) -> Iterator[WorkingStep]:
    found = answer.candidates
    loop = float(found.loop_resistance_ohm[index])
    current = float(found.load_current_a[index])
    fixed = request.wiring_fixed_resistance_ohm
    yield WorkingStep(
        text="Resistance of the whole wiring: conductors, chassis, joints and fuse",
        formula="R_conductors + R_fixed",
        inputs={"R_conductors_ohm": seven_digits(loop - fixed), "R_fixed_ohm": seven_digits(fixed)},
        result=seven_digits(loop),
        unit="ohm",
        source="Ohm's law",
    )
    if request.load_power_w is not None:
        yield WorkingStep(
            text="Current of the constant-power load",
            formula="2 P / (E + sqrt(E^2 - 4 P (R + Rs)))",
            inputs={
                "P_w": request.load_power_w,
                "E_v": request.supply_voltage_v,
                "R_ohm": seven_digits(loop),
                "Rs_ohm": request.source_resistance_ohm,
            },
            result=seven_digits(current),
            unit="A",
            source="Ohm's law; stable root of P = (E - I R) I",
        )
    yield WorkingStep(
        text="Voltage drop of the wiring",
        formula="I x R",
        inputs={"I_a": seven_digits(current), "R_ohm": seven_digits(loop)},
        result=seven_digits(current * loop),
        unit="V",
        source="Ohm's law",
    )


def _limit_steps(
    request: ConductorRequest, answer: ConductorAnswer, index: int
) -> Iterator[WorkingStep]:
    found = answer.candidates
    published = float(found.published_ampacity_a[index])
    heat = float(found.heat_ampacity_a[index])
    inputs: dict[str, float | str] = {"heat_balance_a": seven_digits(heat)}
    if not math.isnan(published):
        inputs["published_a"] = seven_digits(published)
    yield WorkingStep(
        text="Ampacity in the least favourable segment, all runs: the lower of both",
        formula="min(heat balance, published table x factors)",
        inputs=inputs,
        result=seven_digits(float(found.ampacity_a[index])),
        unit="A",
        source="heat balance; 33 CFR 183.425 Table 5 or ISO 10133 Table A.1",
    )
    yield _length_step(request, answer, index)


def _length_step(request: ConductorRequest, answer: ConductorAnswer, index: int) -> WorkingStep:
    found = answer.candidates
    if request.load_power_w is None:
        current = float(found.load_current_a[index])
        wiring = request.allowed_voltage_drop_v / current
    else:
        current, wiring = limit_of_power_load(request)
    fixed = request.wiring_fixed_resistance_ohm
    length = float(found.greatest_length_m[index])
    # The working shows the resistance per metre at the limit that the length was found with.
    per_metre = (wiring - fixed) / length if length > 0.0 else 0.0
    return WorkingStep(
        text="Greatest one-way length: where the drop reaches its limit, or the circuit collapses",
        formula="(R_wiring - R_fixed) / R_per_metre; R_wiring = dU / I at the allowed drop, "
        "E^2 / 4P - Rs at the collapse",
        inputs={
            "dU_v": seven_digits(request.allowed_voltage_drop_v),
            "I_a": seven_digits(current),
            "R_wiring_ohm": seven_digits(wiring),
            "R_fixed_ohm": seven_digits(fixed),
            "R_per_metre_ohm_per_m": seven_digits(per_metre),
        },
        result=seven_digits(length),
        unit="m",
        source="Ohm's law; conductors at the temperature of the current I",
    )
