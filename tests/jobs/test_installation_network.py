"""A job as a network: figures by hand, what hangs where, and agreement with the sizing."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from loomwright.engineering.network.solver import SOLVED, solved_networks
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.installation_network import (
    LEAST_PART_OHM,
    InstallationNetwork,
    installation_network,
)
from loomwright.jobs.job import Job
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
ReadJob = Callable[[object], Job]


def network_of(job: Job, among: tuple[str, ...] | None = None) -> InstallationNetwork:
    conductors = circuit_conductors(job, tables())
    sized = sized_circuits(job, conductors, tables(), fuse_tables())
    return installation_network(job, sized, conductors, tables(), among)


def voltages(network: InstallationNetwork) -> dict[str, float]:
    solution = solved_networks(network.shape, network.elements)
    assert solution.state.tolist() == [SOLVED]
    return {name: solution.node_voltage_v[0, node] for name, node in network.nodes.items()}


def test_voltages_of_a_small_job_are_those_derived_by_hand(
    small_job: Document, read_job: ReadJob
) -> None:
    # 6 A; 2.5 mm2 copper has 7.98 mohm/m at 20 C and 0.004 /K. Behind 14 mohm: 12.6 - 0.084 V.
    # Feed: 1 m at 80 C 9.895 mohm, 3 m at 40 C 25.855 mohm, joints 0.8 mohm: 36.550 mohm, 0.2193 V.
    # Return: 0.5 m at 40 C 4.309 mohm, lugs 0.2 mohm, chassis 1 mohm: 5.509 mohm, 0.03305 V.
    network = network_of(read_job(small_job))
    found = voltages(network)
    assert found["battery.plus"] == pytest.approx(12.516, abs=1e-9)
    # The current heats the conductor by a few kelvin, which adds up to 2 % and takes none away.
    feed = found["battery.plus"] - found["lamp_feed.load_plus"]
    assert 0.2193 < feed < 0.2193 * 1.02
    assert 0.03305 < found["lamp_feed.load_minus"] < 0.03305 * 1.02
    assert network.parts["lamp_feed.fuse"] == (0, pytest.approx(0.6e-3))
    assert network.parts["lamp_feed.source_lug"] == (0, pytest.approx(0.1e-3))
    assert network.parts["lamp_feed.load_lug"] == (0, pytest.approx(0.1e-3))
    assert network.parts["lamp_feed.return_lugs"] == (1, pytest.approx(0.2e-3))
    assert network.parts["lamp_feed.chassis"] == (1, pytest.approx(1e-3))


@pytest.mark.parametrize("name", ["combustion_car", "hybrid_jump_start"])
def test_one_circuit_has_the_load_voltage_that_it_was_sized_for(
    name: str, read_job: ReadJob
) -> None:
    job = read_job(demo_job(name))
    conductors = circuit_conductors(job, tables())
    (sized,) = sized_circuits(job, conductors, tables(), fuse_tables())
    found = voltages(installation_network(job, (sized,), conductors, tables()))
    key = sized.circuit.key
    at_load = found[f"{key}.load_plus"] - found[f"{key}.load_minus"]
    # The sizing settles its current to 1e-7; the same arithmetic in another order.
    assert at_load == pytest.approx(sized.load_voltage_v, rel=1e-7)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_parts_of_a_branch_add_up_to_what_of_it_is_fixed(name: str, read_job: ReadJob) -> None:
    network = network_of(read_job(demo_job(name)))
    fixed = np.zeros(len(network.branches))
    for part in network.parts.values():
        fixed[part.branch] += part.resistance_ohm
    assert fixed == pytest.approx(network.elements.fixed_resistance_ohm[0], rel=1e-12)


def test_branches_hang_on_their_block_and_go_back_to_it(read_job: ReadJob) -> None:
    network = network_of(read_job(demo_job("truck_24v")))
    block = network.nodes["cab_main.load_plus"]
    assert {network.supply_nodes[key] for key in ("radio_feed", "heater_feed")} == {block}
    assert network.return_nodes["radio_feed"] == network.nodes["cab_main.load_minus"]
    assert network.return_nodes["cab_main"] == 0
    solution = solved_networks(network.shape, network.elements)
    through_main = solution.branch_current_a[0, network.branches["cab_main.feed"]]
    through_branches = sum(
        solution.branch_current_a[0, network.branches[f"{key}.feed"]]
        for key in ("radio_feed", "work_light_feed", "heater_feed")
    )
    assert through_main == pytest.approx(through_branches, rel=1e-9)


def test_a_branch_by_chassis_goes_back_to_the_source(
    small_job: Document, read_job: ReadJob
) -> None:
    lamps = small_job["circuits"][0]
    small_job["circuits"] = [
        {**lamps, "key": "main", "return_path": {"by": "conductor"}},
        {**lamps, "fed_from": "main"},
    ]
    network = network_of(read_job(small_job))
    assert network.return_nodes["lamp_feed"] == 0
    solution = solved_networks(network.shape, network.elements)
    assert solution.branch_current_a[0, network.branches["main.return"]] == pytest.approx(0.0)
    assert solution.branch_current_a[0, network.branches["main.feed"]] == pytest.approx(6.0)


def test_a_circuit_that_charges_a_source_carries_nothing(read_job: ReadJob) -> None:
    network = network_of(read_job(demo_job("van_second_battery")))
    assert "charger_output" not in network.loads
    solution = solved_networks(network.shape, network.elements)
    current = solution.branch_current_a[0, network.branches["charger_output.feed"]]
    assert current == pytest.approx(0.0, abs=1e-9)


def test_return_by_conductor_has_the_conductor_of_the_feed(read_job: ReadJob) -> None:
    network = network_of(read_job(demo_job("truck_24v")))
    stretches = {name: list(places) for name, places in network.stretches.items()}
    of_feed = network.elements.ambient_resistance_ohm[0, stretches["radio_feed.feed"]]
    of_return = network.elements.ambient_resistance_ohm[0, stretches["radio_feed.return"]]
    assert of_feed.tolist() == of_return.tolist()


def test_drawing_some_circuits_draws_those_that_feed_them(read_job: ReadJob) -> None:
    network = network_of(read_job(demo_job("truck_24v")), ("radio_feed",))
    assert list(network.supply_nodes) == ["cab_main", "radio_feed"]
    assert list(network.loads) == ["radio_feed"]


def test_a_circuit_without_conductor_is_left_out_with_those_behind_it(
    small_job: Document, read_job: ReadJob
) -> None:
    # 6 A over 60 m at 0.1 % of 12 V: no section of the series has so little resistance.
    lamps = small_job["circuits"][0]
    far = [{"length": 60, "zone": "passenger_compartment"}]
    small_job["circuits"] = [
        {**lamps, "key": "main", "route": far, "allowed_voltage_drop_percent": 0.1},
        {**lamps, "fed_from": "main"},
    ]
    network = network_of(read_job(small_job))
    assert network.left_out == ("main", "lamp_feed")
    assert not network.loads


def test_joints_stated_to_have_no_resistance_still_solve(
    small_job: Document, read_job: ReadJob
) -> None:
    small_job["circuits"][0]["joint_resistance"] = 0
    small_job["circuits"][0]["return_path"]["chassis_resistance"] = 0
    network = network_of(read_job(small_job))
    assert network.parts["lamp_feed.fuse"].resistance_ohm == LEAST_PART_OHM
    assert network.parts["lamp_feed.chassis"].resistance_ohm == LEAST_PART_OHM
    assert voltages(network)["lamp_feed.load_minus"] > 0.0


def test_only_a_converter_has_a_limit_and_takes_nothing_back(
    small_job: Document, read_job: ReadJob
) -> None:
    small_job["power_sources"][0]["greatest_current"] = 30
    network = network_of(read_job(small_job))
    assert network.elements.greatest_current_a.tolist() == [[np.inf]]
    assert network.elements.least_current_a.tolist() == [[-np.inf]]
    small_job["power_sources"][0]["tap_point"] = "converter_output"
    network = network_of(read_job(small_job))
    assert network.elements.greatest_current_a.tolist() == [[30.0]]
    assert network.elements.least_current_a.tolist() == [[0.0]]
