"""A network with the places where a meter is put, and what it shows there in many variants."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.network.elements import Elements, Shape, Solution
from loomwright.engineering.network.solver import solved_networks
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

SOURCE_VOLTAGE, EQUIPMENT_VOLTAGE = "source_voltage", "equipment_voltage"
FEED_DROP, RETURN_DROP = "feed_drop", "return_drop"
SOURCE_LUG_DROP, FUSE_DROP, LOAD_LUG_DROP = "source_lug_drop", "fuse_drop", "load_lug_drop"
CURRENT = "current"
DROPS = (FEED_DROP, RETURN_DROP, SOURCE_LUG_DROP, FUSE_DROP, LOAD_LUG_DROP)
OF_CIRCUIT = (EQUIPMENT_VOLTAGE, *DROPS, CURRENT)
QUANTITIES = (SOURCE_VOLTAGE, *OF_CIRCUIT)
# State in which nothing is switched on.
REST = "rest"


class Quantity(NamedTuple):
    """Something that a meter shows.

    Parameters
    ----------
    what
        One of ``QUANTITIES``.
    subject
        Key of the source or of the circuit.
    state
        Name of the load state, or ``REST``.
    """

    what: str
    subject: str
    state: str


class CircuitPlaces(NamedTuple):
    """Places of one circuit in the arrays of a network.

    Parameters
    ----------
    feed_stretches, return_stretches
        Stretches of conductor.
    source_lug, fuse, load_lug
        Parts of the feed that a meter can bridge.
    return_parts
        Parts of the return: its lugs, and the chassis if it goes back by that.
    feed_branch
        Branch whose current is that of the circuit.
    supply_node, load_plus, load_minus, return_node
        Nodes where it begins, at the equipment, and where it goes back to.
    load
        Its load; ``None`` where it has none.
    source
        Source at the head of it.
    """

    feed_stretches: tuple[int, ...]
    return_stretches: tuple[int, ...]
    source_lug: int
    fuse: int
    load_lug: int
    return_parts: tuple[int, ...]
    feed_branch: int
    supply_node: int
    load_plus: int
    load_minus: int
    return_node: int
    load: int | None
    source: int

    def ends(self, what: str) -> tuple[int, int] | None:
        """Return the nodes that a meter is put between, or none if no two nodes are."""
        if what == EQUIPMENT_VOLTAGE:
            return self.load_plus, self.load_minus
        if what == FEED_DROP:
            return self.supply_node, self.load_plus
        return (self.load_minus, self.return_node) if what == RETURN_DROP else None

    def part(self, what: str) -> int | None:
        """Return the part that a meter bridges, or none if it bridges none."""
        parts = {
            SOURCE_LUG_DROP: self.source_lug,
            FUSE_DROP: self.fuse,
            LOAD_LUG_DROP: self.load_lug,
        }
        return parts.get(what)


@record
class Variants:
    """Values of networks of one shape, each array with one row for each.

    Parameters
    ----------
    part_resistance_ohm
        Of each part [ohm].
    ambient_resistance_ohm, resistance_slope_ohm_per_k, share_per_ampere
        Of each stretch, as in ``Elements``.
    emf_v, source_resistance_ohm
        Of each source [V], [ohm].
    load_power_w, load_current_a
        Of each load [W], [A].
    """

    part_resistance_ohm: Array
    ambient_resistance_ohm: Array
    resistance_slope_ohm_per_k: Array
    share_per_ampere: Array
    emf_v: Array
    source_resistance_ohm: Array
    load_power_w: Array
    load_current_a: Array

    def repeated(self, count: int) -> "Variants":
        """Return the first row as often as asked for, as arrays of their own."""
        return Variants(
            *(np.repeat(getattr(self, name)[:1], count, axis=0) for name in _VARIANT_FIELDS)
        )


_VARIANT_FIELDS = tuple(Variants.__annotations__)


@record
class MeasuredNetwork:
    """A network as planned, and where its circuits are in it.

    Parameters
    ----------
    shape
        The shape.
    elements
        What does not vary of it: curves and limits of the sources; one row.
    planned
        As planned at the temperature of the day; one row.
    part_branch
        Branch of each part.
    circuits
        Places by key of the circuit.
    sources
        Place of each source by key.
    source_nodes
        Node of the positive terminal of each source by key.
    states
        Keys of the circuits that are switched on, by name of the load state.
    """

    shape: Shape
    elements: Elements
    planned: Variants
    part_branch: Places
    circuits: Mapping[str, CircuitPlaces]
    sources: Mapping[str, int]
    source_nodes: Mapping[str, int]
    states: Mapping[str, frozenset[str]]

    def values_of(
        self,
        variants: Variants,
        quantities: Sequence[Quantity],
        held_current_a: Mapping[tuple[str, str], Array] | None = None,
    ) -> Array:
        """Return what a perfect meter shows.

        Parameters
        ----------
        variants
            Networks as rows.
        quantities
            Wanted, of any state.
        held_current_a
            Currents that loads take whatever their voltage, by state and circuit; those of the
            variants if none.

        Returns
        -------
        ndarray
            Variants by quantities [V], [A]; NaN where a network has no operating point.
        """
        shown = np.empty((variants.emf_v.shape[0], len(quantities)))
        fixed = self._fixed_resistance_ohm(variants.part_resistance_ohm)
        for state in dict.fromkeys(quantity.state for quantity in quantities):
            elements = self._elements(variants, fixed, state, held_current_a or {})
            solution = solved_networks(self.shape, elements)
            for column, quantity in enumerate(quantities):
                if quantity.state == state:
                    shown[:, column] = self.shown(quantity, solution, variants)
        return shown

    @property
    def planned_elements(self) -> Elements:
        """The planned network with everything switched on, in one row."""
        planned = self.planned
        return self.elements._replace(
            ambient_resistance_ohm=planned.ambient_resistance_ohm,
            resistance_slope_ohm_per_k=planned.resistance_slope_ohm_per_k,
            share_per_ampere=planned.share_per_ampere,
            emf_v=planned.emf_v,
            source_resistance_ohm=planned.source_resistance_ohm,
            load_power_w=planned.load_power_w,
            load_current_a=planned.load_current_a,
        )

    def _fixed_resistance_ohm(self, part_resistance_ohm: Array) -> Array:
        fixed = np.zeros((part_resistance_ohm.shape[0], self.shape.branch_from.size))
        for part, branch in enumerate(self.part_branch):
            fixed[:, branch] += part_resistance_ohm[:, part]
        return fixed

    def _elements(
        self,
        variants: Variants,
        fixed: Array,
        state: str,
        held_current_a: Mapping[tuple[str, str], Array],
    ) -> Elements:
        count = fixed.shape[0]
        power, current = np.zeros_like(variants.load_power_w), np.zeros_like(variants.load_power_w)
        for key in self.states[state]:
            load = self.circuits[key].load
            if load is None:
                continue
            held = held_current_a.get((state, key))
            if held is None:
                power[:, load] = variants.load_power_w[:, load]
                current[:, load] = variants.load_current_a[:, load]
            else:
                current[:, load] = held
        planned = self.elements
        elements = Elements(
            fixed_resistance_ohm=fixed,
            ambient_resistance_ohm=variants.ambient_resistance_ohm,
            resistance_slope_ohm_per_k=variants.resistance_slope_ohm_per_k,
            share_per_ampere=variants.share_per_ampere,
            curves=planned.curves,
            emf_v=variants.emf_v,
            source_resistance_ohm=variants.source_resistance_ohm,
            greatest_current_a=np.repeat(planned.greatest_current_a, count, axis=0),
            least_current_a=np.repeat(planned.least_current_a, count, axis=0),
            load_power_w=power,
            load_current_a=current,
            load_conductance_s=np.zeros_like(power),
        )
        # Arrays in one order of memory: for another one the solver would be compiled anew.
        return Elements(*map(np.ascontiguousarray, elements))

    def shown(self, quantity: Quantity, solution: Solution, variants: Variants) -> Array:
        """Return what a perfect meter shows of solved variants, one value for each [V], [A]."""
        voltage = solution.node_voltage_v
        if quantity.what == SOURCE_VOLTAGE:
            return voltage[:, self.source_nodes[quantity.subject]]
        places = self.circuits[quantity.subject]
        through = solution.branch_current_a[:, places.feed_branch]
        if (ends := places.ends(quantity.what)) is not None:
            return voltage[:, ends[0]] - voltage[:, ends[1]]
        if (part := places.part(quantity.what)) is not None:
            return through * variants.part_resistance_ohm[:, part]
        return through


def has_operating_point(shown: Array) -> npt.NDArray[np.bool_]:
    """Return which variants have an operating point in every state that was asked for."""
    return np.asarray(~np.isnan(shown).any(axis=1))
