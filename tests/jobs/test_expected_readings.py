"""Expected readings of whole jobs: propagation against draws, with several sources and circuits."""

from collections.abc import Callable

import numpy as np
import pytest

from loomwright.engineering.measurement.expected import expectations_of_draws
from loomwright.engineering.measurement.propagation import propagated_expectations
from loomwright.engineering.measurement.uncertainty import USUAL, drawn_variants
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.installation_network import installation_network
from loomwright.jobs.job import Job
from loomwright.jobs.measured_installation import LOAD, measured_network, quantities_of
from loomwright.jobs.measurements import USUAL_METERS, WORKSHOP_TEMPERATURE_K, all_on
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables


@pytest.mark.parametrize("name", ["van_second_battery", "truck_24v"])
def test_propagated_uncertainties_are_those_of_draws(
    name: str, read_job: Callable[[object], Job]
) -> None:
    # JCGM 101, 8.1: the law of propagation is held to the propagation of distributions. So few
    # draws leave a standard deviation within some per cent, the curvature of joints some more.
    job = read_job(demo_job(name))
    conductors = circuit_conductors(job, tables())
    sized = sized_circuits(job, conductors, tables(), fuse_tables())
    drawn_network = installation_network(job, sized, conductors, tables())
    on = tuple(key for key in all_on(job)[LOAD] if key in drawn_network.supply_nodes)
    network = measured_network(job, drawn_network, conductors, {LOAD: on}, WORKSHOP_TEMPERATURE_K)
    carrying = [key for key in network.circuits if key in network.states[LOAD]]
    meters = {
        quantity: USUAL_METERS[quantity.what] for quantity in quantities_of(network, carrying)
    }
    assert len(network.circuits) > 2
    variants = drawn_variants(network, USUAL)
    shown = network.values_of(variants, sorted(meters))
    by_draws = expectations_of_draws(network, variants, shown, meters, {})
    found = propagated_expectations(network, meters)
    assert [entry.quantity for entry in found] == list(meters)
    ratios = []
    for entry in found:
        drawn = by_draws[entry.quantity]
        assert entry.expected == pytest.approx(drawn.expected, rel=0.1, abs=1e-3)
        ratios.append(entry.standard_uncertainty / drawn.standard_uncertainty)
    assert np.all(np.abs(np.log(ratios)) < np.log(1.25)), sorted(ratios)
