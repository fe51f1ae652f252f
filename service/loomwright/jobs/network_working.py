"""The working of a solved network, step by step."""

from collections.abc import Iterator

from loomwright.engineering.working import WorkingStep, seven_digits
from loomwright.jobs.network_answer import nine_places
from loomwright.jobs.solved_network import (
    AT_LIMIT,
    IDLE,
    BranchState,
    SolvedNetwork,
    SourceState,
)

OHMS_LAW = "Ohm's law"
BALANCE = "conservation of energy"
HEATED = "resistance rising along a straight line with temperature"


def network_working(solved: SolvedNetwork) -> tuple[WorkingStep, ...]:
    """Return the working of a solved network.

    Parameters
    ----------
    solved
        With an operating point; without one there is nothing to follow but the greatest power.

    Returns
    -------
    tuple of WorkingStep
        Sources, branches, then the balance of powers.
    """
    return (
        *(step for entry in solved.sources for step in _source_steps(entry)),
        *(step for entry in solved.branches for step in _branch_steps(entry)),
        *_balance_steps(solved),
        *_greatest_steps(solved),
    )


def _source_steps(entry: SourceState) -> Iterator[WorkingStep]:
    # At its limit and cut off its voltage is what the rest of the network makes of it.
    if entry.state in (AT_LIMIT, IDLE):
        return
    yield WorkingStep(
        text=f"{entry.source.key}: voltage at its terminals",
        formula="E - I x R",
        inputs={
            "E_v": entry.source.emf_v,
            "I_a": seven_digits(entry.current_a),
            "R_ohm": entry.source.resistance_ohm,
        },
        result=seven_digits(entry.terminal_voltage_v),
        unit="V",
        source=OHMS_LAW,
    )


def _branch_steps(entry: BranchState) -> Iterator[WorkingStep]:
    key, ohm = entry.branch.key, seven_digits(entry.resistance_ohm)
    if entry.stretches:
        inputs: dict[str, float | str] = {"R_ohm": seven_digits(entry.branch.fixed_resistance_ohm)}
        terms = ["R"]
        for place, (stretch, rise) in enumerate(
            zip(entry.stretches, entry.rises_k, strict=True), 1
        ):
            terms.append(f"R{place} + k{place} x dT{place}")
            inputs[f"R{place}_ohm"] = seven_digits(stretch.ambient_resistance_ohm)
            inputs[f"k{place}_ohm_per_k"] = seven_digits(stretch.resistance_slope_ohm_per_k)
            inputs[f"dT{place}_k"] = seven_digits(rise)
        yield WorkingStep(
            text=f"{key}: joints and fuse with each stretch at its working temperature",
            formula=" + ".join(terms),
            inputs=inputs,
            result=ohm,
            unit="ohm",
            source=HEATED,
        )
    current = seven_digits(entry.current_a)
    yield WorkingStep(
        text=f"{key}: drop from {entry.branch.start} to {entry.branch.end}",
        formula="I x R",
        inputs={"I_a": current, "R_ohm": ohm},
        result=seven_digits(entry.voltage_drop_v),
        unit="V",
        source=OHMS_LAW,
    )
    yield WorkingStep(
        text=f"{key}: power that it turns into heat",
        formula="I^2 x R",
        inputs={"I_a": current, "R_ohm": ohm},
        result=seven_digits(entry.loss_w),
        unit="W",
        source=OHMS_LAW,
    )


def _balance_steps(solved: SolvedNetwork) -> Iterator[WorkingStep]:
    if not solved.voltages_v:
        return
    imbalance_w = nine_places(solved.imbalance_w)
    assert imbalance_w is not None  # with an operating point each power is a figure
    yield _sum_step(
        "power of all sources at their terminals",
        [entry.power_w for entry in solved.sources],
        solved.source_power_w,
    )
    yield _sum_step(
        "power of all loads", [entry.power_w for entry in solved.loads], solved.load_power_w
    )
    yield _sum_step(
        "heat of all branches", [entry.loss_w for entry in solved.branches], solved.loss_w
    )
    yield WorkingStep(
        text="power of the sources that neither loads nor branches take; 0 but for rounding",
        formula="P_source - P_load - P_loss",
        inputs={
            "P_source_w": seven_digits(solved.source_power_w),
            "P_load_w": seven_digits(solved.load_power_w),
            "P_loss_w": seven_digits(solved.loss_w),
        },
        result=imbalance_w,
        unit="W",
        source=BALANCE,
    )


def _sum_step(text: str, powers_w: list[float], total_w: float) -> WorkingStep:
    names = [f"P{place}" for place in range(1, len(powers_w) + 1)]
    return WorkingStep(
        text=text,
        formula=" + ".join(names) or "0",
        inputs={
            f"{name}_w": seven_digits(power) for name, power in zip(names, powers_w, strict=True)
        },
        result=seven_digits(total_w),
        unit="W",
        source=BALANCE,
    )


def _greatest_steps(solved: SolvedNetwork) -> Iterator[WorkingStep]:
    if solved.greatest_factor is None or solved.greatest_power_w is None:
        return
    constant_w = sum(load.power_w for load in solved.network.loads)
    yield WorkingStep(
        text="greatest constant power of all loads together, turned up alike",
        formula="n x P",
        inputs={"n": seven_digits(solved.greatest_factor), "P_w": seven_digits(constant_w)},
        result=seven_digits(solved.greatest_power_w),
        unit="W",
        source="trials between a factor that has an operating point and one that has none",
    )
