"""One job whose rows differ in lengths: its cases, met one by one and kept."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.assembly import Assembly
from loomwright.batch.bills.covers import Structures
from loomwright.batch.bills.lengths import RowLengths
from loomwright.batch.bills.pieces import (
    DIFFICULTY,
    NOTHING,
    Case,
    JobNeeds,
    PartNeeds,
    WiringCase,
    Works,
)
from loomwright.batch.bills.thresholds import Thresholds
from loomwright.batch.codes import ONE_ROW, Codes, coded_numbers, coded_rows
from loomwright.batch.sizing.sizes import CircuitSizes, SizedRows
from loomwright.batch.variation import Variation
from loomwright.jobs.job import Circuit, Equipment, Job
from loomwright.jobs.sized_circuit import SIZED, VERDICTS
from loomwright.pricing.minor_units import Units
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import LabourRequirement
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

_SIZED = VERDICTS.index(SIZED)
Rows = npt.NDArray[np.int64]


def difficulties(book: PriceBook) -> tuple[str | None, ...]:
    """Return the keys of the difficulties that a price book knows, none first."""
    return None, *book.difficulty


def billed_key(job: Job) -> tuple[Hashable, ...]:
    """Return what jobs have in common whose rows are of the same cases."""
    return (
        frozenset(job.power_sources),
        tuple(_as_billed(item) for item in job.equipment),
        tuple(_as_built(circuit) for circuit in job.circuits),
        job.labour,
    )


def _as_billed(item: Equipment) -> Equipment:
    """Return a piece of equipment without what only sizes and words depend on."""
    return replace(
        item,
        description="",
        current_a=None,
        power_w=None,
        fuse_rating_a=None,
        inrush_current_a=None,
        inrush_duration_s=None,
        amplifier=None,
        standby_current_a=None,
        average_current_share=None,
        least_voltage_v=None,
    )


def _as_built(circuit: Circuit) -> Circuit:
    """Return a circuit without what only sizes and words depend on, each length as a metre."""
    one = 1.0
    return replace(
        circuit,
        description="",
        allowed_drop_fraction=0.0,
        joint_resistance_ohm=0.0,
        conductor=replace(circuit.conductor, smallest_size=None),
        route=tuple(
            replace(segment, length_m=one, zone="", bundled_conductors=1)
            for segment in circuit.route
        ),
        return_path=replace(
            circuit.return_path, ground_lead_length_m=one, chassis_resistance_ohm=0.0
        ),
        signal_leads=tuple(replace(lead, length_m=one) for lead in circuit.signal_leads),
        remote_leads=tuple(replace(lead, length_m=one) for lead in circuit.remote_leads),
    )


class _LabourOfPiece:
    """Labour of the cases of a piece, of which many have the same."""

    def __init__(self) -> None:
        #: By number.
        self.known: list[Sequence[LabourRequirement]] = []
        self._numbers: dict[Hashable, int] = {}
        self._of_cases: list[int] = []

    def add(self, labour: Sequence[LabourRequirement]) -> None:
        """Add the labour of the next case."""
        # All of it but the words.
        key = tuple([(each.operation, each.pieces, each.length_m, each.stretch) for each in labour])
        number = self._numbers.setdefault(key, len(self._numbers))
        if number == len(self.known):
            self.known.append(labour)
        self._of_cases.append(number)

    def of(self, case: Units) -> Units:
        """Return the number of the labour of each case, or of all."""
        if not isinstance(case, np.ndarray):
            return self._of_cases[case]
        return np.array(self._of_cases, np.int64)[case] if len(self.known) > 1 else 0


class _Built(NamedTuple):
    """Indices of the conductor and of the fuse type of a sized circuit, and the rating [A]."""

    size: int
    fuse_type: int
    rated_current_a: float


class BookNeeds:
    """What jobs of a price book need, as far as it is the same for all of them.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    """

    def __init__(self, book: PriceBook) -> None:
        self.book = book
        #: Parts by what is asked for.
        self.parts = PartNeeds(book)
        #: Labour by the difficulty.
        self.works = Works(book)
        #: Numbers for which parts serve needs.
        self.structures = Structures()


class JobCases:
    """A job without its lengths and its difficulty, with the cases of its rows so far.

    Parameters
    ----------
    job
        The job.
    known
        What jobs of the price book need.
    """

    def __init__(self, job: Job, known: BookNeeds) -> None:
        book = known.book
        self.job = replace(
            job,
            equipment=tuple(_as_billed(item) for item in job.equipment),
            circuits=tuple(_as_built(circuit) for circuit in job.circuits),
        )
        self._needs, self._works = JobNeeds(self.job, book, known.parts), known.works
        self._thresholds = [Thresholds(circuit, book) for circuit in self.job.circuits]
        #: Cases of the job, then of wiring and leads of each circuit, in the order of a bill.
        pieces = range(1 + 2 * len(self.job.circuits))
        self._indices: list[dict[Hashable, int]] = [{} for _ in pieces]
        self._labour = [_LabourOfPiece() for _ in pieces]
        self._difficulties = difficulties(book)
        self._met: dict[int, None] = {}
        #: Lines of rows of all cases met so far.
        self.assembly = Assembly(book, known.structures)
        self._join(0, None, self._needs.of_job())

    @property
    def case_count(self) -> int:
        """How many cases were met."""
        return sum(map(len, self._indices))

    def cases(
        self, variation: Variation, sizes: SizedRows, rows: Rows, difficulty: Units
    ) -> dict[int, Units]:
        """Return the case of each piece in rows, or the one of all of them.

        Parameters
        ----------
        variation
            Rows of the job.
        sizes
            Their circuits.
        rows
            Indices of one row or more that are not unusual.
        difficulty
            Of each of these rows or of all of them, as an index of ``difficulties``.

        Returns
        -------
        dict
            By index of the piece.
        """
        self._meet(difficulty)
        built = {key: _built(own, rows) for key, own in sizes.circuits.items()}
        lengths = RowLengths(variation, rows)
        found: dict[int, Units] = {0: 0}
        for index, circuit in enumerate(self.job.circuits):
            found[1 + 2 * index] = self._wiring(1 + 2 * index, circuit, built)
            found[2 + 2 * index] = self._leads(2 + 2 * index, circuit, lengths, variation, rows)
        labour = {
            len(self._indices) + piece: self._labour_case(self._labour[piece].of(case), difficulty)
            for piece, case in found.items()
        }
        return found | labour | {DIFFICULTY: difficulty}

    def _meet(self, difficulty: Units) -> None:
        """Let the labour of all cases so far join with difficulties that no row had yet."""
        for code in np.unique(difficulty).tolist():
            if code not in self._met:
                self._met[code] = None
                for piece, own in enumerate(self._labour):
                    for number, labour in enumerate(own.known):
                        self._join_work(piece, number, labour, code)

    def _join(self, piece: int, key: Hashable, case: Case) -> int:
        number = self._indices[piece][key] = len(self._indices[piece])
        self.assembly.join(piece, number, case.parts)
        own = self._labour[piece]
        known = len(own.known)
        own.add(case.labour)
        if len(own.known) > known:
            for code in self._met:
                self._join_work(piece, known, case.labour, code)
        return number

    def _join_work(
        self, piece: int, number: int, labour: Sequence[LabourRequirement], code: int
    ) -> None:
        """Let labour of a piece join with a difficulty."""
        stated = self._difficulties[code]
        work = [self._works.of(each, stated) for each in labour]
        case = int(self._labour_case(number, code))
        self.assembly.join_work(len(self._indices) + piece, case, work, code)

    def _labour_case(self, number: Units, difficulty: Units) -> Units:
        """Return the case of labour with a difficulty."""
        return number * len(self._difficulties) + difficulty

    def _wiring(
        self,
        piece: int,
        circuit: Circuit,
        built: Mapping[str, tuple[Codes, Sequence[_Built | None]]],
    ) -> Units:
        """Return the case of the wiring of a circuit in each row."""
        codes, kinds = built[circuit.key]
        branches = self.job.branches(circuit.key)
        fuses = [_fuses(branch, *built[branch.key]) for branch in branches]
        codes, joined = coded_rows([codes, *(own for own, _ in fuses)])
        cases = []
        for own, *of_branches in joined:
            kind = kinds[own]
            if kind is None:
                cases.append(self._case(piece, None, circuit))
                continue
            branch_fuses = [
                known[code] for code, (_, known) in zip(of_branches, fuses, strict=True)
            ]
            case = WiringCase(
                conductor=tables().series[circuit.conductor.series][kind.size],
                fuse_type=_fuse_types(circuit)[kind.fuse_type],
                rated_current_a=kind.rated_current_a,
                branch_fuses=tuple(fuse for fuse in branch_fuses if fuse is not None),
            )
            cases.append(self._case(piece, case, circuit))
        return _by_code(cases, codes)

    def _case(self, piece: int, case: WiringCase | None, circuit: Circuit) -> int:
        key = None if case is None else (case.conductor.key, *case[1:])
        index = self._indices[piece].get(key)
        if index is None:
            made = NOTHING if case is None else self._needs.of_wiring(circuit.key, case)
            index = self._join(piece, key, made)
        return index

    def _leads(
        self,
        piece: int,
        circuit: Circuit,
        lengths: RowLengths,
        variation: Variation,
        rows: Rows,
    ) -> Units:
        """Return the case of the leads of a circuit in each row."""
        columns = self._thresholds[piece // 2 - 1].of(lengths)
        varying = [column for column in columns if isinstance(column, np.ndarray)]
        codes, joined = coded_rows(varying) if varying else ONE_ROW
        first = np.empty(len(joined), np.int64)
        first[codes] = np.arange(codes.size)
        cases = []
        for values, row in zip(joined, first.tolist(), strict=True):
            left = iter(values)
            key = tuple(
                next(left) if isinstance(column, np.ndarray) else column for column in columns
            )
            index = self._indices[piece].get(key)
            if index is None:
                stated = variation.circuit_of(int(rows[row]), circuit.key)
                index = self._join(piece, key, self._needs.of_leads(stated))
            cases.append(index)
        return _by_code(cases, codes)


def _built(sizes: CircuitSizes, rows: Rows) -> tuple[Codes, list[_Built | None]]:
    """Return a code of what a circuit is built with in each row, and that by its code."""
    is_sized = sizes.verdict[rows] == _SIZED
    ratings, rated = coded_numbers(np.where(is_sized, sizes.rated_current_a[rows], 0.0))
    columns = [
        is_sized.astype(np.int64),
        np.where(is_sized, sizes.size[rows], 0).astype(np.int64),
        np.where(is_sized, sizes.fuse_type[rows], 0).astype(np.int64),
        ratings,
    ]
    codes, kinds = coded_rows(columns)
    return codes, [
        _Built(size, fuse_type, rated[rating]) if sized else None
        for sized, size, fuse_type, rating in kinds
    ]


def _fuses(
    branch: Circuit, codes: Codes, kinds: Sequence[_Built | None]
) -> tuple[Codes, list[tuple[str, float] | None]]:
    """Return a code of the fuse of a branch in each row, and type and rating by its code."""
    fuses = [
        None if kind is None else (_fuse_types(branch)[kind.fuse_type], kind.rated_current_a)
        for kind in kinds
    ]
    known = list(dict.fromkeys(fuses))
    return np.array([known.index(fuse) for fuse in fuses], np.int64)[codes], known


def _fuse_types(circuit: Circuit) -> tuple[str, ...]:
    """Return what the fuse of a circuit is chosen from: all types where it names none."""
    return circuit.fuse_types or tuple(fuse_tables().types)


def _by_code(cases: Sequence[int], codes: Codes) -> Units:
    """Return the case of each row, or the one of all rows."""
    if len(set(cases)) == 1:
        return cases[0]
    return np.array(cases, np.int64)[codes]
