"""Routes of one job for several sizings of its circuits, such as the rounds of its plans."""

from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.conductors.sizing import LaidRoute, laid_route
from loomwright.jobs.conductor_requests import conductor_request
from loomwright.jobs.job import Circuit
from loomwright.tables.records import Tables


class JobRoutes:
    """Routes of one job's circuits with the conductors that could be laid along them.

    Lives for one request. Between the sizings of a job a circuit is asked for with other loads,
    voltages and allowances; its route and its family of conductors are looked up once.

    Parameters
    ----------
    tables
        Tables of the engineering.
    """

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self._known: dict[str, tuple[ConductorRequest, LaidRoute]] = {}

    def of(
        self,
        circuit: Circuit,
        supply_voltage_v: float,
        allowed_voltage_drop_v: float,
        load_current_a: float | None,
        load_power_w: float | None,
        source_resistance_ohm: float,
    ) -> tuple[ConductorRequest, LaidRoute]:
        """Return what is asked of the engineering for a circuit, and its route.

        Parameters
        ----------
        circuit
            The circuit; no more than its allowance may differ from one call to the next.
        supply_voltage_v
            What it is fed with [V].
        allowed_voltage_drop_v
            What it may drop [V].
        load_current_a
            Current of its load [A], or none.
        load_power_w
            Power of its load [W], or none.
        source_resistance_ohm
            Of the source [ohm].

        Returns
        -------
        tuple
            As ``conductor_request`` and ``laid_route`` have them.

        Raises
        ------
        EngineeringError
            ``ambient_not_below_rating``.
        """
        numbers = (
            supply_voltage_v,
            allowed_voltage_drop_v,
            load_current_a,
            load_power_w,
            source_resistance_ohm,
        )
        known = self._known.get(circuit.key)
        if known is None:
            request = conductor_request(circuit, self.tables, *numbers)
            known = self._known[circuit.key] = request, laid_route(request, self.tables)
            return known
        request, laid = known
        return request.with_numbers(*numbers), laid
