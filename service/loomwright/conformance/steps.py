"""Run a case of steps: do each, judge each expectation, and note what it tells."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from loomwright.conformance.checks import Check, Context
from loomwright.conformance.report import Ledger, UnexercisedError
from loomwright.conformance.specification import Case
from loomwright.exchange import Seen

Perform = Callable[[Mapping[str, Any], Context], Sequence[Seen]]


class _GivenError(Exception):
    """What the rest of a case rests on is not there."""


def run_steps(
    case: Case, perform: Perform, checks: Mapping[str, Check], context: Context, ledger: Ledger
) -> None:
    """Run a case and note what each of its expectations tells.

    An expectation without a requirement is what the rest rests on: where it does not hold, the
    rest of the case is not exercised. So one breach is not counted against others.

    Parameters
    ----------
    case
        With ``steps``.
    perform
        Does one step and returns what was seen, several times where it is done for several things.
    checks
        By name.
    context
        For the checks.
    ledger
        Where it is noted.
    """
    open_numbers = list(case.requirements)
    for step in case.document["steps"]:
        try:
            _step(case, step, perform, checks, context, ledger)
        except (_GivenError, UnexercisedError) as reason:
            for number in open_numbers:
                ledger.skip(number, case.key, str(reason))
            return


def _step(
    case: Case,
    step: Mapping[str, Any],
    perform: Perform,
    checks: Mapping[str, Check],
    context: Context,
    ledger: Ledger,
) -> None:
    for seen in perform(step, context):
        for expectation in step["expect"]:
            number = expectation.get("requirement")
            try:
                miss = checks[expectation["check"]](seen, expectation, context)
            except UnexercisedError as reason:
                if number is None:
                    raise _GivenError(str(reason)) from None
                ledger.skip(number, case.key, str(reason))
                continue
            if number is not None:
                ledger.note(number, case.key, miss)
            elif miss is not None:
                raise _GivenError(f"what the case rests on is missing: {miss}")
        context.earlier.append(seen)
