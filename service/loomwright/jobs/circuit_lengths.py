"""What the lengths of a circuit decide of its parts, whatever conductor it is built with."""

from decimal import Decimal
from functools import partial

from loomwright.engineering.record import record
from loomwright.jobs.circuit_layout import CircuitLayout
from loomwright.jobs.part_texts import RuleTexts, metres_text
from loomwright.pricing.requirements import (
    ALONG_GROUND_LEAD,
    ALONG_LOOM,
    ALONG_ROUTE,
    Measured,
    QuantityRules,
    Stretch,
    exact_length_m,
)


@record
class Run:
    """So much of a part for a length of a circuit; ``words`` are of it in the reason."""

    measured: Measured
    quantity: Decimal
    words: str


class CircuitLengths:
    """Quantities of one circuit that follow from its lengths alone.

    Parameters
    ----------
    layout
        The circuit before its conductor is known.
    rules
        Quantity rules of the price book.
    texts
        The same as they are read.
    """

    def __init__(self, layout: CircuitLayout, rules: QuantityRules, texts: RuleTexts) -> None:
        self._rules, self._texts = rules, texts
        route_m, circuit = layout.route_m, layout.circuit
        route = metres_text(route_m)
        #: Where the fuse is.
        self.distance = metres_text(exact_length_m(circuit.distance_from_source_m))
        self.feed = self._cut(ALONG_ROUTE, route_m, route, layout.feed_pieces)
        #: The return conductor, or the ground lead.
        self.back = self._back(layout, route)
        words = f"one and one every {texts.tie_spacing} along {route}"
        self.ties = Run(Measured(ALONG_ROUTE, rules.tie_count), rules.tie_count(route_m), words)
        words = f"covers {metres_text(layout.loomed_m)} + {texts.loom_waste} of"
        #: Of no length where nothing is loomed.
        self.loom = Run(
            Measured(ALONG_LOOM, rules.loom_length_m), rules.loom_length_m(layout.loomed_m), words
        )

    def _back(self, layout: CircuitLayout, route: str) -> Run:
        if not layout.by_chassis:
            return self._cut(ALONG_ROUTE, layout.route_m, route, 1)
        length_m = exact_length_m(layout.circuit.return_path.ground_lead_length_m)
        return self._cut(ALONG_GROUND_LEAD, length_m, metres_text(length_m), 1)

    def _cut(self, stretch: Stretch, length_m: Decimal, length: str, pieces: int) -> Run:
        words = (
            f"{length} + {self._texts.conductor_slack}"
            f" + {2 * pieces} x {self._texts.conductor_slack_per_end} for the ends"
        )
        rule = partial(self._rules.conductor_length_m, pieces=pieces)
        return Run(Measured(stretch, rule), rule(length_m), words)
