"""Parts that one sized circuit needs, each with the rule and the reason that produced it."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from loomwright.jobs.bundles import bundle_diameter_m
from loomwright.jobs.job import BARE_END, END_PARTS, Circuit, Job
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import Requirement, exact_length_m

UNKNOWN_CONNECTION = "as the fuse holder"
# A tube slides over the crimped barrel and still grips the insulation; common practice, no source.
_TUBE_OVER = 1.2
_TUBE_GRIP = 0.8
_BUILT_IN = "built_in"


@dataclass(frozen=True, slots=True)
class End:
    """One end of a conductor and what it is made off with."""

    connection: str
    place: str


def millimetres(length_m: float) -> Decimal:
    """Return a length in millimetres to a tenth, as parts are sold by."""
    return Decimal(repr(length_m * 1e3)).quantize(Decimal("0.1"))


def exact_number(value: float) -> Decimal:
    """Return a catalogue number, such as a rating, without binary dust."""
    return Decimal(repr(float(value))).quantize(Decimal("0.000001")).normalize() + Decimal(0)


def metres_text(length_m: Decimal) -> str:
    """Return a length as it is read in a reason."""
    return f"{length_m:.2f} m"


class CircuitParts:
    """Collector of the parts of one circuit.

    Parameters
    ----------
    job
        The job.
    sized
        A circuit for which a conductor and a fuse were found.
    book
        Price book: its quantity rules, and the fuse holder whose studs decide the terminals.
    """

    def __init__(self, job: Job, sized: SizedCircuit, book: PriceBook) -> None:
        self.job = job
        self.sized = sized
        self.circuit: Circuit = sized.circuit
        self.book = book
        self.conductor, self.fuse_type, self.rating_a = sized.built()
        self.requirements: list[Requirement] = []
        self.holder_connection = BARE_END
        self.by_chassis = self.circuit.return_path.path == "chassis"
        diameters = [self.conductor.outside_diameter_m]
        if not self.by_chassis:
            diameters *= 2
        self.bundle_m = bundle_diameter_m(diameters)
        self.route_m = sum(
            (exact_length_m(segment.length_m) for segment in self.circuit.route), Decimal(0)
        )

    def collected(self) -> tuple[Requirement, ...]:
        """Return all parts of the circuit, in the order in which it is built."""
        self._power_conductor()
        self._return_conductor()
        self._fuse_and_holder()
        self._distribution_block()
        self._ends()
        self._ground_hardware()
        self._protection()
        return tuple(self.requirements)

    def ends(self) -> list[End]:
        """Return every end of the circuit's conductors; known once the holder is."""
        circuit = self.circuit
        ends = [End(circuit.source_end, "at the feeding point")]
        ends += [
            End(self.holder_connection, "into the fuse holder"),
            End(self.holder_connection, "out of the fuse holder"),
        ]
        pieces = max(1, sum(item.quantity for item in self.job.equipment_on(circuit.key)))
        loads = "the load" if pieces == 1 else "the loads"
        ends += [End(circuit.load_end, f"at {loads}")] * pieces
        if self.by_chassis:
            ends.append(End(circuit.return_path.stud, "at the ground point"))
        else:
            ends.append(End(circuit.source_end, "of the return, at the feeding point"))
        ends += [End(circuit.load_end, f"of the return, at {loads}")] * pieces
        return [end for end in ends if end.connection not in (BARE_END, _BUILT_IN)]

    def _add(
        self,
        what: str,
        attributes: Mapping[str, Attribute],
        quantity: Decimal | int,
        unit: str,
        reason: str,
        rule: str,
    ) -> None:
        self.requirements.append(
            Requirement(what, attributes, Decimal(quantity), unit, reason, rule, self.circuit.key)
        )

    def _conductor_attributes(self, colour: str) -> dict[str, Attribute]:
        choice = self.circuit.conductor
        return {
            "series": self.conductor.series,
            "size": self.conductor.key,
            "material": choice.material,
            "insulation": choice.insulation,
            "colour": colour,
        }

    def _cut(self, length_m: Decimal) -> tuple[Decimal, str]:
        rules = self.book.rules
        cut_m = rules.conductor_length_m(length_m)
        ends_m = metres_text(rules.conductor_slack_per_end_m)
        percent = format(rules.conductor_slack_percent.normalize(), "f")
        return cut_m, f"{metres_text(length_m)} + {percent} % + 2 x {ends_m} for the ends"

    def _power_conductor(self) -> None:
        cut_m, how = self._cut(self.route_m)
        attributes = self._conductor_attributes(self.circuit.conductor.colour)
        reason = f"feed of {how}; {self.conductor.key}: {self.sized.decision}"
        self._add("conductor", attributes, cut_m, "MTR", reason, "power_conductor")

    def _return_conductor(self) -> None:
        attributes = self._conductor_attributes(self.circuit.conductor.return_colour)
        if self.by_chassis:
            lead_m = exact_length_m(self.circuit.return_path.ground_lead_length_m)
            cut_m, how = self._cut(lead_m)
            reason = f"ground lead of {how}; as thick as the feed"
            self._add("conductor", attributes, cut_m, "MTR", reason, "ground_lead")
        else:
            cut_m, how = self._cut(self.route_m)
            reason = f"return of {how}; as thick as the feed"
            self._add("conductor", attributes, cut_m, "MTR", reason, "return_conductor")

    def _fuse_and_holder(self) -> None:
        rating = exact_number(self.rating_a)
        self._add(
            "fuse",
            {"fuse_type": self.fuse_type, "rating_a": rating},
            1,
            "EA",
            self.sized.fuse_reason,
            "fuse",
        )
        if self.circuit.fed_from not in self.job.power_sources:
            return
        needed: dict[str, Attribute] = {
            "fuse_type": self.fuse_type,
            "rating_a": rating,
            "cross_section_mm2": exact_number(self.conductor.cross_section_m2 * 1e6),
        }
        holder = self.book.part_for("fuse_holder", needed)
        self.holder_connection = UNKNOWN_CONNECTION
        if holder is not None:
            self.holder_connection = str(holder.attributes["connection"])
        distance = metres_text(exact_length_m(self.circuit.distance_from_source_m))
        reason = f"holds the fuse {distance} from the feeding point"
        self._add("fuse_holder", needed, 1, "EA", reason, "fuse_holder")

    def _distribution_block(self) -> None:
        for fuse_type in dict.fromkeys(key for key, _ in self.sized.branch_fuses):
            ratings = [rating for key, rating in self.sized.branch_fuses if key == fuse_type]
            needed: dict[str, Attribute] = {
                "fuse_type": fuse_type,
                "ways": Decimal(len(ratings)),
                "current_a": exact_number(self.rating_a),
                "way_rating_a": exact_number(max(ratings)),
            }
            reason = f"splits the feed into fused branches: {len(ratings)}"
            self._add("distribution_block", needed, 1, "EA", reason, "distribution_block")

    def _ends(self) -> None:
        size: dict[str, Attribute] = {
            "series": self.conductor.series,
            "size": self.conductor.key,
        }
        shrunk = 0
        counted = Counter(self.ends())
        for end, count in counted.items():
            what = END_PARTS.get(end.connection, "ring_terminal")
            stud = {"stud": end.connection} if what == "ring_terminal" else {}
            reason = f"{count} {end.place}"
            self._add(what, {**size, **stud}, count, "EA", reason, "conductor_end")
            shrunk += count * (what in ("ring_terminal", "splice"))
        if shrunk:
            diameter_m = self.conductor.outside_diameter_m
            each_m = self.book.rules.heat_shrink_per_end_m
            self._add(
                "heat_shrink",
                {
                    "slides_over_mm": millimetres(diameter_m * _TUBE_OVER),
                    "grips_mm": millimetres(diameter_m * _TUBE_GRIP),
                },
                shrunk * each_m,
                "MTR",
                f"{metres_text(each_m)} over each of {shrunk} crimped ends",
                "heat_shrink",
            )

    def _ground_hardware(self) -> None:
        if self.by_chassis:
            stud = self.circuit.return_path.stud
            reason = "fixes the ground lead to bare metal and seals it"
            self._add("ground_hardware", {"stud": stud}, 1, "SET", reason, "ground_hardware")

    def _protection(self) -> None:
        bundle = millimetres(self.bundle_m)
        crossings = sum(segment.through_bulkhead for segment in self.circuit.route)
        if crossings:
            reason = f"{crossings} x a panel passed by a bundle of {bundle} mm"
            self._add("grommet", {"cable_diameter_mm": bundle}, crossings, "EA", reason, "grommet")
        covered_m = sum(
            (exact_length_m(segment.length_m) for segment in self.circuit.route if segment.loomed),
            Decimal(0),
        )
        rules = self.book.rules
        if covered_m:
            percent = format(rules.loom_waste_percent.normalize(), "f")
            reason = f"covers {metres_text(covered_m)} + {percent} % of a bundle of {bundle} mm"
            needed: dict[str, Attribute] = {"bundle_diameter_mm": bundle}
            self._add(
                "split_loom", needed, rules.loom_length_m(covered_m), "MTR", reason, "split_loom"
            )
        reason = f"every {metres_text(rules.tie_spacing_m)} along {metres_text(self.route_m)}"
        self._add(
            "cable_tie",
            {"bundle_diameter_mm": bundle},
            rules.tie_count(self.route_m),
            "EA",
            reason,
            "cable_tie",
        )
