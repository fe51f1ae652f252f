"""Loops over plain numbers as machine code.

A request asks for some thirty candidates at a time: too few for array functions, whose cost is the
same for one element and a thousand, and too many for interpreted loops. A function compiled here is
written for one candidate in plain arithmetic and looped over any number of them.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
from numba.extending import register_jitable

F = TypeVar("F", bound=Callable[..., Any])


def compiled(formula: F) -> F:
    """Compile a function of numbers and arrays of numbers on its first call.

    The machine code is kept beside the module's byte code, or where ``NUMBA_CACHE_DIR`` says, and
    made anew when the module changes, but not when only one that it calls formulas of does: after
    such an edit the kept code has to be removed. Arithmetic is that of IEEE 754 in the order
    written: no operation is fused, reordered or approximated, and a division by zero is an
    infinity, as in NumPy.

    Parameters
    ----------
    formula
        Function that uses numbers, arrays, ``math`` and other compiled functions only.

    Returns
    -------
    Callable
        The compiled function.
    """
    return _machine_code(formula)


def compiled_in_place(formula: F) -> F:
    """Compile a function like ``compiled``, and write it out wherever a compiled one calls it.

    For formulas that take arrays and are called for each candidate: each call counts each array
    twice otherwise, which takes several times as long as the arithmetic.

    Parameters
    ----------
    formula
        As ``compiled`` takes it.

    Returns
    -------
    Callable
        The compiled function.
    """
    return _machine_code(formula, inline="always")


def compiled_loop(formula: F) -> F:
    """Compile a loop over rows like ``compiled``, without counting who holds its arrays.

    Parameters
    ----------
    formula
        As ``compiled`` takes it; it makes no array, and what it calls with arrays is
        ``compiled_in_place``.

    Returns
    -------
    Callable
        The compiled function.
    """
    return _machine_code(formula, _nrt=False)


def _machine_code(formula: F, **options: Any) -> F:
    try:
        machine_code = numba.njit(formula, cache=True, error_model="numpy", **options)
    except RuntimeError:
        # There is no place to write to: then it is compiled anew by each process that starts.
        machine_code = numba.njit(formula, error_model="numpy", **options)
    return cast(F, machine_code)


def compilable(formula: F) -> F:
    """Leave a function as Python runs it, and let compiled functions call it.

    For arithmetic of a few numbers that one request runs some times and many rows run in a compiled
    loop: a call of machine code from Python would cost more than what it does.

    Parameters
    ----------
    formula
        Function that uses numbers, arrays, ``math`` and other compiled or compilable functions
        only.

    Returns
    -------
    Callable
        The same function.
    """
    register_jitable(formula)
    return formula
