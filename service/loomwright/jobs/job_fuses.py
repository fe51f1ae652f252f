"""Fuses of one job for several sizings of its circuits, such as those of its plans."""

import math
from collections.abc import Sequence

from loomwright.engineering.conductors.loaded_route import CURRENT, LOOP_RESISTANCE
from loomwright.engineering.protection.faults import FaultSource, fault_current_a
from loomwright.engineering.protection.fuse_cautions import fuse_cautions
from loomwright.engineering.protection.fuse_choice import (
    CircuitCurrents,
    TypeChoice,
    fuse_choice,
    verdict_of,
)
from loomwright.engineering.protection.fuse_circuit import checked_site, feed_resistance_ohm
from loomwright.engineering.protection.fuse_request import ROAD_VEHICLE, FuseSite
from loomwright.engineering.protection.fuse_setting import FuseSetting, fuse_setting
from loomwright.engineering.protection.protected_conductor import protected_conductor
from loomwright.engineering.protection.rating_rules import starting_current_a
from loomwright.engineering.protection.selectivity import FuseInCircuit, Selectivity, selectivity
from loomwright.engineering.record import record
from loomwright.jobs.circuit_conductors import CircuitConductor, feeding_source
from loomwright.jobs.circuit_sources import fault_source
from loomwright.jobs.fuse_requests import fuse_request, stated_starting_current_a
from loomwright.jobs.job import Job, PowerSource
from loomwright.jobs.sized_circuit import CircuitFuse, SizedCircuit
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables


@record
class _Protected:
    """A circuit with one of its conductors, as its fuse is chosen whatever flows in it."""

    setting: FuseSetting
    feed_resistance_ohm: float


class JobFuses:
    """Fuses of the circuits of one job.

    Lives for one request. Between the sizings of a job allowances and loads alone differ: what a
    circuit with one of its conductors asks of a fuse but for its currents is looked up once.

    Parameters
    ----------
    tables
        Tables of the engineering.
    fuse_tables
        Fuse tables of the engineering.
    """

    def __init__(self, tables: Tables, fuse_tables: FuseTables) -> None:
        self._tables = tables
        self._fuse_tables = fuse_tables
        self._sites: dict[str, FuseSite] = {}
        self._protected: dict[tuple[str, int], _Protected] = {}

    def of(
        self,
        job: Job,
        conductor: CircuitConductor,
        candidate: int,
        before: Sequence[SizedCircuit],
    ) -> CircuitFuse:
        """Return the fuse of a circuit with one of its conductors.

        Parameters
        ----------
        job
            The job; no more than allowances and loads may differ from one call to the next.
        conductor
            Conductors of the circuit.
        candidate
            Which one.
        before
            Circuits from the source down to this one, all sized.

        Returns
        -------
        CircuitFuse
            The first wanted type that fits, or why none does.

        Raises
        ------
        EngineeringError
            The circuit lies outside the models.
        """
        circuit, figures = conductor.circuit, conductor.figures_of(candidate)
        load_current_a, loop_ohm = figures[CURRENT], figures[LOOP_RESISTANCE]
        source = _source_behind(feeding_source(job, circuit), before)
        protected = self._protected_of(job, conductor, candidate, load_current_a, source)
        near_a = fault_current_a(source, protected.feed_resistance_ohm)
        far_a = fault_current_a(source, loop_ohm)
        stated_a = stated_starting_current_a(job, circuit)
        starting_a = None if math.isnan(stated_a) else starting_current_a(stated_a, load_current_a)
        # By the rules of road vehicles the fault itself has to be broken, and no place is refused.
        choice = fuse_choice(
            protected.setting, CircuitCurrents(load_current_a, starting_a, near_a, far_a, near_a)
        )
        return CircuitFuse(
            verdict=verdict_of(choice.failure, None),
            chosen=choice.chosen,
            near_source_fault_a=near_a,
            far_end_fault_a=far_a,
            upstream_selectivity=_selectivity(before, choice.chosen, near_a),
            cautions=fuse_cautions(
                protected.setting,
                choice.types,
                near_a,
                source.internal_resistance_is_cold,
                ROAD_VEHICLE,
            ),
            provenances=protected.setting.provenances,
        )

    def _protected_of(
        self,
        job: Job,
        conductor: CircuitConductor,
        candidate: int,
        load_current_a: float,
        source: FaultSource,
    ) -> _Protected:
        circuit = conductor.circuit
        found = self._protected.get((circuit.key, candidate))
        if found is None:
            assert conductor.request is not None  # the circuit has a conductor
            assert conductor.answer is not None
            behind = protected_conductor(
                conductor.request, conductor.answer, candidate, self._tables
            )
            site = self._sites.get(circuit.key)
            if site is None:
                asked = fuse_request(job, circuit, load_current_a, behind, source, self._tables)
                site = self._sites[circuit.key] = checked_site(asked)
            found = _Protected(
                fuse_setting(site.with_conductor(behind), self._fuse_tables),
                feed_resistance_ohm(behind, circuit.distance_from_source_m),
            )
            self._protected[circuit.key, candidate] = found
        return found


def _source_behind(source: PowerSource, before: Sequence[SizedCircuit]) -> FaultSource:
    """Return a source as a fault behind some circuits sees it."""
    # One after the other, as rows are added: sum() of Python 3.12 carries what rounding cuts off.
    before_ohm = 0.0
    for entry in before:
        before_ohm += entry.loop_resistance_ohm or 0.0
    return fault_source(source, before_ohm)


def _selectivity(
    before: Sequence[SizedCircuit], chosen: TypeChoice | None, near_source_fault_a: float
) -> Selectivity | None:
    if not before or chosen is None or chosen.rating_a is None:
        return None
    upstream = before[-1].fuse
    if upstream is None or upstream.rating_a is None:
        return None
    return selectivity(
        FuseInCircuit(upstream.fuse_type, upstream.rating_a),
        FuseInCircuit(chosen.fuse_type, chosen.rating_a),
        near_source_fault_a,
    )
