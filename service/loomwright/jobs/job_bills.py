"""Bills of one job for several sizings of its circuits, such as its plans and its substitutes."""

from collections.abc import Sequence

from loomwright.jobs.circuit_build import CircuitBuilds
from loomwright.jobs.job import Job
from loomwright.jobs.requirements_of_job import JobRequirements
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.pricing.bill import Bill, Bills
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions


class JobBills:
    """Bills of one job, which share what their circuits have in common.

    Lives for one request. Each bill is the one that would be made of its circuits alone.

    Parameters
    ----------
    job
        The job; allowances, loads and what circuits are chosen from may differ in its sizings.
    book
        Price book.
    options
        Day, discounts, package price, deposit.

    Raises
    ------
    EngineeringError
        The book does not hold on the day, or has no such difficulty as the job's.
    """

    def __init__(self, job: Job, book: PriceBook, options: PricingOptions) -> None:
        holding = book.on_day(options.as_of)
        self._bills = Bills(holding, options, job.vehicle.difficulty)
        self._requirements = JobRequirements(job, holding)

    @property
    def builds(self) -> CircuitBuilds:
        """The circuits as they are built, for the work orders of the bills."""
        return self._requirements.builds

    def of(self, sized: Sequence[SizedCircuit]) -> Bill:
        """Return the bill of circuits of the job.

        Parameters
        ----------
        sized
            Every circuit of the job as the engineering found it.

        Returns
        -------
        Bill
            Their bill.

        Raises
        ------
        EngineeringError
            The options do not fit the bill.
        """
        parts, labour = self._requirements.of(sized)
        return self._bills.of(parts, labour)
