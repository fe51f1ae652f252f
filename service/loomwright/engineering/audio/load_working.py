"""The working of a match of drivers to an amplifier, step by step."""

from collections.abc import Iterator

from loomwright.engineering.audio.load_match import JudgedLoad, LoadMatch, Wiring, faults_of
from loomwright.engineering.audio.series_parallel import Network
from loomwright.engineering.audio.stated_output import ChannelOutput, neighbours_of
from loomwright.engineering.working import WorkingStep, seven_digits

CIRCUIT = "Ohm's and Kirchhoff's laws"
THEVENIN = "Thevenin's theorem"


def load_working(match: LoadMatch) -> tuple[WorkingStep, ...]:
    """Return the working of the most useful way, which is the recommended one if there is one.

    Parameters
    ----------
    match
        The answer.

    Returns
    -------
    tuple of WorkingStep
        In the order in which a technician would follow them.
    """
    wiring, load = match.wirings[0], match.load
    groups = _Groups(load)
    groups.visit(wiring.network)
    return (
        *groups.steps,
        *_load_steps(load, wiring),
        *_output_steps(load, wiring),
        *groups.share_steps(wiring),
        *_power_steps(load, wiring),
        *_fault_steps(load, wiring),
    )


class _Groups:
    """Groups of a network, each with a name of its own and its impedance."""

    def __init__(self, load: JudgedLoad) -> None:
        self.load = load
        self.steps: list[WorkingStep] = []
        # Of each coil, from the inside out: kind of the group, the member that holds the coil, and
        # the group, each with name and impedance.
        self.paths: dict[int, list[tuple[str, tuple[str, float], tuple[str, float]]]] = {}

    def visit(self, network: Network) -> tuple[str, float, tuple[int, ...]]:
        """Return name, impedance and coils of a network; its groups get a step each."""
        if isinstance(network, int):
            coil = self.load.coils[network]
            self.paths[network] = []
            return coil.name, coil.impedance_ohm, (network,)
        members = [self.visit(part) for part in network.parts]
        impedances = [impedance for _, impedance, _ in members]
        names = [name for name, _, _ in members]
        if network.kind == "series":
            formula, whole = " + ".join(names), sum(impedances)
        else:
            formula = f"1 / ({' + '.join(f'1 / {name}' for name in names)})"
            whole = 1.0 / sum(1.0 / impedance for impedance in impedances)
        own = f"N{len(self.steps) + 1}"
        self.steps.append(
            WorkingStep(
                text=f"{own}: {', '.join(names[:-1])} and {names[-1]} in {network.kind}",
                formula=formula,
                inputs={f"{name}_ohm": seven_digits(impedance) for name, impedance, _ in members},
                result=seven_digits(whole),
                unit="ohm",
                source=CIRCUIT,
            )
        )
        for name, impedance, coils in members:
            for place in coils:
                self.paths[place].append((network.kind, (name, impedance), (own, whole)))
        return own, whole, tuple(coil for _, _, coils in members for coil in coils)

    def share_steps(self, wiring: Wiring) -> Iterator[WorkingStep]:
        """Yield the share of the first coil of each driver."""
        for driver in self.load.drivers:
            coil = driver.coils[0]
            factors = []
            inputs: dict[str, float | str] = {}
            for kind, member, group in self.paths[coil]:
                upper, lower = (member, group) if kind == "series" else (group, member)
                factors.append(f"{upper[0]} / {lower[0]}")
                inputs |= {f"{name}_ohm": seven_digits(value) for name, value in (member, group)}
            if factors:
                yield WorkingStep(
                    text=f"Share of {self.load.coils[coil].name} in the power of the load: as the"
                    " impedance in series, against it in parallel",
                    formula=" x ".join(factors),
                    inputs=inputs,
                    result=seven_digits(wiring.power.shares[coil]),
                    unit="1",
                    source=CIRCUIT,
                )


def _load_steps(load: JudgedLoad, wiring: Wiring) -> Iterator[WorkingStep]:
    if load.bridged:
        yield WorkingStep(
            text="Load of each of the two channels of a bridged pair",
            formula="Z / 2",
            inputs={"Z_ohm": seven_digits(wiring.power.impedance_ohm)},
            result=seven_digits(wiring.power.impedance_ohm / 2.0),
            unit="ohm",
            source=CIRCUIT,
        )
    yield WorkingStep(
        text="Load over the least that the amplifier may drive: 1 or more is within its limit",
        formula="Z / L",
        inputs={
            "Z_ohm": seven_digits(wiring.power.impedance_ohm),
            "L_ohm": seven_digits(load.least_load_impedance_ohm),
        },
        result=seven_digits(wiring.power.impedance_ohm / load.least_load_impedance_ohm),
        unit="1",
        source="limit as stated in the request",
    )


def _output_steps(load: JudgedLoad, wiring: Wiring) -> Iterator[WorkingStep]:
    if wiring.output_w is None:
        return
    channels = 2.0 if load.bridged else 1.0
    each = wiring.power.impedance_ohm / channels
    voltage = (wiring.output_w / channels * each) ** 0.5
    if wiring.output_basis == "interpolated":
        below, above = neighbours_of(each, load.outputs)
        yield _voltage_step("next lower", below)
        yield _voltage_step("next higher", above)
        weight = "(1 / Z - 1 / Zb) / (1 / Za - 1 / Zb)"
        yield WorkingStep(
            text="Voltage of a channel between two stated loads: its inverse is a straight line"
            " over the inverse of the load",
            formula=f"1 / ({weight} / Ua + (1 - {weight}) / Ub)",
            inputs={
                "Z_ohm": seven_digits(each),
                "Za_ohm": seven_digits(below.load_impedance_ohm),
                "Zb_ohm": seven_digits(above.load_impedance_ohm),
                "Ua_v": seven_digits(below.voltage_v),
                "Ub_v": seven_digits(above.voltage_v),
            },
            result=seven_digits(voltage),
            unit="V",
            source=THEVENIN,
        )
    else:
        yield _voltage_step(
            "nearest",
            min(load.outputs, key=lambda output: abs(output.load_impedance_ohm - each)),
        )
    yield WorkingStep(
        text="Output of the channel, or of both of a bridged pair, into the load",
        formula="n x U^2 / Z",
        inputs={
            "n": channels,
            "U_v": seven_digits(voltage),
            "Z_ohm": seven_digits(each),
        },
        result=seven_digits(wiring.output_w),
        unit="W",
        source=CIRCUIT,
    )


def _voltage_step(which: str, output: ChannelOutput) -> WorkingStep:
    power = output.voltage_v**2 / output.load_impedance_ohm
    return WorkingStep(
        text=f"Voltage of a channel at the {which} stated load, r.m.s.",
        formula="sqrt(P x Z)",
        inputs={"P_w": seven_digits(power), "Z_ohm": seven_digits(output.load_impedance_ohm)},
        result=seven_digits(output.voltage_v),
        unit="V",
        source="stated output; IEC 60268-3",
    )


def _power_steps(load: JudgedLoad, wiring: Wiring) -> Iterator[WorkingStep]:
    if wiring.output_w is None:
        return
    for driver, share in zip(load.drivers, wiring.driver_shares, strict=True):
        yield WorkingStep(
            text=f"Power of driver {driver.name} with all its coils",
            formula="s x P",
            inputs={"s": seven_digits(share), "P_w": seven_digits(wiring.output_w)},
            result=seven_digits(share * wiring.output_w),
            unit="W",
            source=CIRCUIT,
        )


def _fault_steps(load: JudgedLoad, wiring: Wiring) -> Iterator[WorkingStep]:
    for fault in faults_of(wiring, load):
        if fault.fault == "open" and fault.load_impedance_ohm is not None:
            yield WorkingStep(
                text=f"Power with {load.coils[fault.coil].name} open over that without a fault, the"
                " volume left where it is; ten times its logarithm to the base 10 is in dB",
                formula="Z / Y",
                inputs={
                    "Z_ohm": seven_digits(wiring.power.impedance_ohm),
                    "Y_ohm": seven_digits(fault.load_impedance_ohm),
                },
                result=seven_digits(wiring.power.impedance_ohm / fault.load_impedance_ohm),
                unit="1",
                source=CIRCUIT,
            )
            return
