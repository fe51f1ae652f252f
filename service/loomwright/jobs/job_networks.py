"""Networks of one job for several sizings of its circuits, such as the rounds of its plans."""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from loomwright.engineering.network.conductor_stretches import RouteStretches, route_stretches
from loomwright.jobs.circuit_conductors import CircuitConductor
from loomwright.jobs.installation_network import (
    FittedCircuit,
    InstallationNetwork,
    installation_network,
    network_with_loads,
)
from loomwright.jobs.job import Job
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]


class JobNetworks:
    """Networks of one job, drawn once for each set of circuits that have a conductor.

    Lives for one request. Between the sizings of a job conductors and loads alone differ: what lies
    between which nodes does not, nor do sources, joints and ground paths. Each network is the one
    that would be drawn of its circuits alone.

    Parameters
    ----------
    tables
        Tables of the engineering.
    """

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._drawn: dict[tuple[str, ...], InstallationNetwork] = {}
        self._stretches: dict[str, RouteStretches] = {}

    def of(
        self,
        job: Job,
        sized: Sequence[FittedCircuit],
        conductors: Mapping[str, CircuitConductor],
        candidates: Mapping[str, int],
    ) -> InstallationNetwork:
        """Return the network of a sizing.

        Parameters
        ----------
        job
            The job; allowances and loads may differ from one sizing to the next, nothing else.
        sized
            Its circuits, each with the conductor that is fitted.
        conductors
            What each was sized for.
        candidates
            Those that are drawn, as ``drawn_circuits`` has them.

        Returns
        -------
        InstallationNetwork
            As ``installation_network`` draws it with all circuits.
        """
        circuits = tuple(candidates)
        drawn = self._drawn.get(circuits)
        if drawn is None:
            drawn = installation_network(job, sized, conductors, self._tables)
            self._drawn[circuits] = drawn
            return drawn
        if not circuits:
            return drawn
        # In the order in which they were drawn: circuit by circuit, feed before return.
        found = [
            stretches
            for key, candidate in candidates.items()
            for stretches in self._there_and_back(conductors[key], candidate)
        ]
        rows = np.concatenate([each for each, _ in found], axis=1)
        elements = drawn.elements._replace(
            ambient_resistance_ohm=rows[0:1],
            resistance_slope_ohm_per_k=rows[1:2],
            share_per_ampere=rows[2:3],
            curves=np.concatenate([each for _, each in found]),
        )
        return network_with_loads(drawn, job, elements)

    def _there_and_back(
        self, conductor: CircuitConductor, candidate: int
    ) -> list[tuple[Array, Array]]:
        # The same in every sizing: route and conductor family are those of the job.
        key, request = conductor.circuit.key, conductor.request
        assert request is not None  # it is drawn, so it was sized
        found = self._stretches.get(key)
        if found is None:
            found = self._stretches[key] = route_stretches(request, self._tables)
        # A return by chassis is the last of the stretches.
        return [found.of(candidate)] * (2 if request.return_by_conductor else 1)
