"""One sized circuit as it is built: its pieces of conductor, their ends, its bundle and cover."""

from collections.abc import Mapping
from decimal import Decimal

from loomwright.jobs.book_circuits import BookCircuits
from loomwright.jobs.circuit_bundle import CircuitBundle
from loomwright.jobs.circuit_layout import CircuitLayout
from loomwright.jobs.circuit_lengths import CircuitLengths, Run
from loomwright.jobs.job import BARE_END, Job
from loomwright.jobs.part_texts import exact_number
from loomwright.jobs.sized_circuit import BuiltCircuit
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import Requirement
from loomwright.tables.records import ConductorSize

UNKNOWN_CONNECTION = "as the fuse holder"


class CircuitBuild:
    """What is known of one sized circuit before its parts are counted.

    Conductor, fuse and branch fuses decide it, beside job and book: currents, drops and what the
    circuit was chosen from are not looked at.

    Parameters
    ----------
    layout
        The circuit before its conductor is known.
    lengths
        Quantities that follow from its lengths.
    bundle
        Its conductors side by side.
    sized
        The circuit, for which a conductor and a fuse were found.
    book
        Price book: its quantity rules, and the holder, block and loom that decide other parts.
    known
        What other jobs have in common by the same book.
    """

    def __init__(
        self,
        layout: CircuitLayout,
        lengths: CircuitLengths,
        bundle: CircuitBundle,
        sized: BuiltCircuit,
        book: PriceBook,
        known: BookCircuits,
    ) -> None:
        self.layout, self.lengths, self.bundle = layout, lengths, bundle
        self.book, self.rules, self.texts, self.known = book, book.rules, known.texts, known
        self.circuit = layout.circuit
        self.branch_fuses = sized.branch_fuses
        self.conductor, self.fuse_type, self.rating_a = sized.built()
        self.by_chassis, self.from_source = layout.by_chassis, layout.from_source
        self.holder_at_source, self.feed_pieces = layout.holder_at_source, layout.feed_pieces
        self.bundle_m = bundle.diameter_m
        self.exact_rating_a = exact_number(self.rating_a)
        #: What the fuse holder is chosen by.
        self.holder_needed: dict[str, Attribute] = {
            "fuse_type": self.fuse_type,
            "rating_a": self.exact_rating_a,
            "cross_section_mm2": bundle.cross_section_mm2,
        }
        #: The ends that a part makes off, counted.
        self.holder_connection = self._holder_connection()
        self.made_off = layout.ends(self.holder_connection)
        self.ends = self.made_off.ends
        self.solder_joints = self.made_off.solder_joints
        self.source_contacts = self.made_off.source_contacts
        self.ground_contacts = self.made_off.ground_contacts

    def needs(
        self,
        what: str,
        attributes: Mapping[str, Attribute],
        quantity: Decimal | int,
        unit: str,
        reason: str,
        rule: str,
    ) -> Requirement:
        """Return a requirement of this circuit that no length of it decides.

        Parameters
        ----------
        what
            Kind of part.
        attributes
            What it is chosen by.
        quantity
            Slack and waste included.
        unit
            UN/CEFACT Recommendation 20 code.
        reason
            Why, with the arithmetic.
        rule
            Key of ``REQUIREMENT_RULES``.

        Returns
        -------
        Requirement
            For this circuit.
        """
        return Requirement(
            what, attributes, Decimal(quantity), unit, reason, rule, self.circuit.key
        )

    def measured(
        self,
        what: str,
        attributes: Mapping[str, Attribute],
        run: Run,
        unit: str,
        reason: str,
        rule: str,
    ) -> Requirement:
        """Return a requirement whose quantity follows from a length of this circuit.

        Parameters
        ----------
        what
            Kind of part.
        attributes
            What it is chosen by.
        run
            How much, and from which length.
        unit
            UN/CEFACT Recommendation 20 code.
        reason
            Why, with the arithmetic.
        rule
            Key of ``REQUIREMENT_RULES``.

        Returns
        -------
        Requirement
            For this circuit.
        """
        return Requirement(
            what, attributes, run.quantity, unit, reason, rule, self.circuit.key, run.measured
        )

    def _holder_connection(self) -> str:
        """Return what a conductor ends in at the fuse holder; the branches of a block have none."""
        if not self.from_source:
            return BARE_END
        holder = self.book.part_for("fuse_holder", self.holder_needed)
        return UNKNOWN_CONNECTION if holder is None else str(holder.attributes["connection"])


class CircuitBuilds:
    """Circuits of a job as they are built, each once for all sizings that build it alike.

    Parameters
    ----------
    job
        The job.
    book
        Price book, with what holds on the day.
    """

    def __init__(self, job: Job, book: PriceBook) -> None:
        self._job, self._book = job, book
        self._known = book.derived(BookCircuits)
        self._circuits: dict[str, tuple[CircuitLayout, CircuitLengths]] = {}
        self._builds: dict[tuple[object, ...], CircuitBuild] = {}

    def of(self, sized: BuiltCircuit) -> CircuitBuild:
        """Return a circuit as it is built.

        Parameters
        ----------
        sized
            A circuit of the job for which a conductor and a fuse were found, for whatever load and
            allowance.

        Returns
        -------
        CircuitBuild
            The same object for all that are built alike.
        """
        conductor, fuse_type, rating_a = sized.built()
        key = sized.circuit.key, conductor.key, fuse_type, rating_a, sized.branch_fuses
        build = self._builds.get(key)
        if build is None:
            build = self._builds[key] = self._new(sized, conductor)
        return build

    def _new(self, sized: BuiltCircuit, conductor: ConductorSize) -> CircuitBuild:
        """Return a build, which takes from others of the circuit and of the conductor."""
        layout, lengths = self._measured(sized.circuit.key)
        bundle = self._known.bundle(conductor, 1 if layout.by_chassis else 2, self._book)
        return CircuitBuild(layout, lengths, bundle, sized, self._book, self._known)

    def _measured(self, key: str) -> tuple[CircuitLayout, CircuitLengths]:
        """Return what is the same whatever a circuit is built with."""
        known = self._circuits.get(key)
        if known is None:
            layout = CircuitLayout(self._job, self._job.circuit_by_key[key])
            lengths = CircuitLengths(layout, self._book.rules, self._known.texts)
            known = self._circuits[key] = layout, lengths
        return known
