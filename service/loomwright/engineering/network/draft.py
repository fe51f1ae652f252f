"""Networks drawn element by element, with names, before they become the arrays of the solver."""

import math
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.elements import Elements, Shape

Array = npt.NDArray[np.float64]

REFERENCE = "reference"
_NO_CURVES = np.zeros((0, 1, 4))


class Stretch(NamedTuple):
    """A stretch of conductor in one ambient.

    Parameters
    ----------
    ambient_resistance_ohm
        At its ambient [ohm].
    resistance_slope_ohm_per_k
        Of that resistance by temperature [ohm/K].
    share_per_ampere
        Share of the cap current of the curve that one ampere is [1/A].
    curve
        Rise above ambient on that share [K], one curve of a ``curve_table``.
    """

    ambient_resistance_ohm: float
    resistance_slope_ohm_per_k: float
    share_per_ampere: float
    curve: Array


@dataclass(slots=True)
class NetworkDraft:
    """A network as it is put together; nodes come into being as they are named."""

    nodes: dict[str, int] = field(default_factory=lambda: {REFERENCE: 0})
    branches: dict[str, tuple[int, int, float]] = field(default_factory=dict)
    stretches: list[tuple[int, Stretch]] = field(default_factory=list)
    sources: dict[str, tuple[int, int, float, float, float, float]] = field(default_factory=dict)
    loads: dict[str, tuple[int, int, float, float, float]] = field(default_factory=dict)

    def node(self, name: str) -> int:
        """Return the number of a node, a new one if it is new."""
        return self.nodes.setdefault(name, len(self.nodes))

    def branch(
        self,
        name: str,
        start: str,
        end: str,
        fixed_resistance_ohm: float,
        stretches: tuple[Stretch, ...] = (),
    ) -> None:
        """Join two nodes by a resistance.

        Parameters
        ----------
        name
            Unique among the branches.
        start
            Name of a node.
        end
            Name of the other; its current is positive from start to end.
        fixed_resistance_ohm
            What does not depend on its current [ohm], 0 or more.
        stretches
            Conductors that are heated by the current; with them more than 0 in all.
        """
        place = len(self.branches)
        self.branches[name] = (self.node(start), self.node(end), fixed_resistance_ohm)
        self.stretches += [(place, stretch) for stretch in stretches]

    def source(
        self,
        name: str,
        minus: str,
        plus: str,
        emf_v: float,
        resistance_ohm: float,
        *,
        greatest_current_a: float = math.inf,
        takes_back: bool = True,
    ) -> None:
        """Put a source between two nodes.

        Parameters
        ----------
        name
            Unique among the sources.
        minus
            Name of the node of its negative terminal.
        plus
            Name of the node of its positive terminal.
        emf_v
            Open-circuit voltage [V].
        resistance_ohm
            Internal resistance [ohm], above 0.
        greatest_current_a
            What it gives at most [A].
        takes_back
            Whether current can flow back into it: a battery, not an alternator or a converter.
        """
        least = -math.inf if takes_back else 0.0
        self.sources[name] = (
            self.node(minus),
            self.node(plus),
            emf_v,
            resistance_ohm,
            greatest_current_a,
            least,
        )

    def load(
        self,
        name: str,
        plus: str,
        minus: str,
        *,
        power_w: float = 0.0,
        current_a: float = 0.0,
        conductance_s: float = 0.0,
    ) -> None:
        """Put a load between two nodes; its three parts add up.

        Parameters
        ----------
        name
            Unique among the loads.
        plus
            Name of the node that its current comes from.
        minus
            Name of the node that its current goes to.
        power_w
            Constant power [W], 0 or more.
        current_a
            Constant current [A], 0 or more.
        conductance_s
            Of a resistive part [S], 0 or more.
        """
        self.loads[name] = (self.node(plus), self.node(minus), power_w, current_a, conductance_s)

    def shape(self) -> Shape:
        """Return the shape.

        Returns
        -------
        Shape
            Elements in the order in which they were drawn.

        Raises
        ------
        EngineeringError
            ``network_not_joined`` where branches and sources leave a node apart.
        """
        self._refuse_nodes_apart()
        branches = list(self.branches.values())
        sources = list(self.sources.values())
        loads = list(self.loads.values())
        return Shape(
            len(self.nodes),
            _places([entry[0] for entry in branches]),
            _places([entry[1] for entry in branches]),
            _places([branch for branch, _ in self.stretches]),
            _places([entry[0] for entry in sources]),
            _places([entry[1] for entry in sources]),
            _places([entry[0] for entry in loads]),
            _places([entry[1] for entry in loads]),
        )

    def elements(self) -> Elements:
        """Return the values of the one network that is drawn."""
        stretches = [stretch for _, stretch in self.stretches]
        sources, loads = list(self.sources.values()), list(self.loads.values())
        return Elements(
            _row([entry[2] for entry in self.branches.values()]),
            _row([stretch.ambient_resistance_ohm for stretch in stretches]),
            _row([stretch.resistance_slope_ohm_per_k for stretch in stretches]),
            _row([stretch.share_per_ampere for stretch in stretches]),
            np.stack([stretch.curve for stretch in stretches]) if stretches else _NO_CURVES,
            _row([entry[2] for entry in sources]),
            _row([entry[3] for entry in sources]),
            _row([entry[4] for entry in sources]),
            _row([entry[5] for entry in sources]),
            _row([entry[2] for entry in loads]),
            _row([entry[3] for entry in loads]),
            _row([entry[4] for entry in loads]),
        )

    def _refuse_nodes_apart(self) -> None:
        joins = [(entry[0], entry[1]) for entry in self.branches.values()]
        joins += [(entry[0], entry[1]) for entry in self.sources.values()]
        reached, size = {0}, 0
        while len(reached) > size:
            size = len(reached)
            for one, other in joins:
                if one in reached or other in reached:
                    reached |= {one, other}
        apart = [name for name, node in self.nodes.items() if node not in reached]
        if apart:
            raise EngineeringError(
                "network_not_joined",
                f"Nothing but loads joins these nodes to the rest: {', '.join(apart)}. Join each "
                "by a branch or a source.",
                nodes=apart,
            )


def _places(numbers: list[int]) -> npt.NDArray[np.int64]:
    return np.array(numbers, np.int64)


def _row(numbers: list[float]) -> Array:
    return np.array([numbers], float)
