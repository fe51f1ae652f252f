"""Fuses of circuits that ask for them alike, whatever the numbers of their rows are."""

from dataclasses import replace

from loomwright.engineering.conductors.choice import CandidateFrame, ConductorRequest
from loomwright.engineering.protection.fuse_request import FuseRequest, ProtectedConductor
from loomwright.engineering.protection.fuse_rows import CircuitFuses
from loomwright.engineering.protection.fuse_terms import ANY_CURRENT_A, ANY_SOURCE
from loomwright.engineering.protection.protected_conductor import protected_candidate
from loomwright.jobs.fuse_requests import fuse_request
from loomwright.jobs.job import Circuit, Job
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

# For the loop of a candidate whose rows have their own.
ANY_RESISTANCE_OHM = 1.0
# Circuits that are kept; each takes some 100 kB.
GREATEST_KNOWN_CIRCUITS = 512


class KnownFuses:
    """Fuses of the circuits of any jobs, looked up once for all that ask alike."""

    def __init__(self) -> None:
        self._known: dict[CandidateFrame, _FusesOfFrame] = {}
        self._count = 0

    def of(
        self, job: Job, circuit: Circuit, request: ConductorRequest, frame: CandidateFrame
    ) -> CircuitFuses:
        """Return what chooses the fuses of a circuit.

        Parameters
        ----------
        job
            The job.
        circuit
            One of its circuits.
        request
            What is asked of its conductor.
        frame
            Candidates, the same object for the same sizes, insulation, places and duty.

        Returns
        -------
        CircuitFuses
            The same for circuits that ask alike but for their numbers.

        Raises
        ------
        EngineeringError
            ``unknown_fuse_type``; ``ambient_above_insulation_rating``, for which no conductor
            was chosen.
        """
        if self._count >= GREATEST_KNOWN_CIRCUITS:
            self._known.clear()
            self._count = 0
        own = self._known.get(frame)
        if own is None:
            own = self._known[frame] = _FusesOfFrame(request, frame)
        before = len(own.known)
        found = own.of(job, circuit)
        self._count += len(own.known) - before
        return found


class _FusesOfFrame:
    """Fuses of circuits with the same candidates."""

    def __init__(self, request: ConductorRequest, frame: CandidateFrame) -> None:
        self._request, self._frame = request, frame
        self._first = self._conductor(0)
        # What is asked with the first conductor.
        self.known: list[tuple[FuseRequest, CircuitFuses]] = []

    def of(self, job: Job, circuit: Circuit) -> CircuitFuses:
        """Return what chooses the fuses of a circuit."""
        asked = fuse_request(job, circuit, ANY_CURRENT_A, self._first, ANY_SOURCE, tables())
        for known, fuses in self.known:
            if known == asked:
                return fuses

        def request_of(candidate: int) -> FuseRequest:
            return replace(asked, conductor=self._conductor(candidate))

        made = CircuitFuses(request_of, len(self._frame.sizes), circuit.fuse_types, fuse_tables())
        self.known.append((asked, made))
        return made

    def _conductor(self, candidate: int) -> ProtectedConductor:
        return protected_candidate(
            self._request, self._frame, candidate, ANY_RESISTANCE_OHM, tables()
        )
