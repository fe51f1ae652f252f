"""Sensitivity of the fuse selection: the outcome of one selection."""

import math

from loomwright.engineering.protection.fuse_answer import FuseAnswer
from loomwright.engineering.sensitivity.bands import Outcome


def fuse_outcome(answer: FuseAnswer, watched: int) -> Outcome:
    """Return the outcome of one selection.

    Parameters
    ----------
    answer
        Of ``size_fuse``.
    watched
        The type whose window is a result: the one that is installed whatever the inputs turn out
        to be.

    Returns
    -------
    Outcome
        Results: lower and upper end of the window of that type, far-end and near-source fault, all
        in [A]. Choice: verdict, type and rated current [A]. Strain: width of the window, lower over
        upper end, and breaking capacity asked for over that of the type, greatest first.
    """
    watched_type, faults = answer.types[watched], answer.faults
    window = watched_type.window
    strain = (
        # Where no rating at all clears the far-end fault, the upper end is nought.
        window.lower_a / window.upper_a if window.upper_a else math.inf,
        faults.required_breaking_capacity_a / watched_type.breaking_capacity_a,
    )
    return Outcome(
        results=(
            window.lower_a,
            window.upper_a,
            faults.far_end_fault_a,
            faults.near_source_fault_a,
        ),
        choice=(answer.verdict, answer.chosen_type, answer.rated_current_a),
        strain=tuple(sorted(strain, reverse=True)),
    )


def watched_type(answer: FuseAnswer) -> int:
    """Return the place of the chosen type, or of the first where none is chosen."""
    kinds = [entry.fuse_type for entry in answer.types]
    return 0 if answer.chosen_type is None else kinds.index(answer.chosen_type)
