"""Compiled formulas: the same figures as their Python source, ready before the first request."""

import importlib
import json
import math
import pkgutil
import sys
from pathlib import Path

import numba
import numpy as np
import pytest
from numba.core.dispatcher import Dispatcher

import loomwright
from drawn_fuse_rows import drawn_numbers, drawn_requests, fused
from drawn_networks import drawn_network
from loomwright import figures
from loomwright.batch.sizing import sized_rows as batch_sizing
from loomwright.batch.sizing.sizes import CircuitSizes
from loomwright.engineering import compiled as machine
from loomwright.engineering.conductors import (
    criteria,
    loaded_route,
    sizing_rows,
    temperature_curve,
)
from loomwright.engineering.network import collapse, currents, heated, linear, solver, steps
from loomwright.engineering.protection import damage, fuse_rows
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.app import create_app
from varied_jobs import extremes

BODIES = Path(__file__).resolve().parents[1] / "bench" / "bodies"
RNG = np.random.default_rng(7)
ROUTE = loaded_route.Route(
    np.array([1.2, 3.4]),
    np.array([333.15, 308.15]),
    RNG.uniform(1e-4, 2e-2, (2, 9)),
    RNG.uniform(1e-7, 1e-4, 9),
    RNG.uniform(0.001, 0.05, (2, 9)),
    # Rising curves: every coefficient adds to the rise.
    RNG.uniform(0.0, 9.0, (2, 9, temperature_curve.INTERVALS + 1, 4)),
)


def every_compiled_formula():
    """Name and dispatcher of each compiled function of the package."""
    found = {}
    for module in pkgutil.walk_packages(loomwright.__path__, "loomwright."):
        for name, value in vars(importlib.import_module(module.name)).items():
            if isinstance(value, Dispatcher):
                found[f"{value.py_func.__module__}.{name}"] = value
    return found


def interpret(monkeypatch, module):
    """Have Python run the formulas of a module."""
    for value in list(vars(module).items()):
        if isinstance(value[1], Dispatcher):
            monkeypatch.setattr(module, value[0], value[1].py_func)


@pytest.mark.parametrize(
    ("current_a", "power_w"), [(25.0, math.nan), (math.nan, 300.0), (math.nan, 3e4)]
)
def test_route_has_the_same_figures_compiled_and_interpreted(monkeypatch, current_a, power_w):
    given = (current_a, power_w, 12.6, 0.006, 0.002, 25.0, 0.02, ROUTE, np.full(9, 40.0))
    compiled = loaded_route.solved_candidates(*given)
    interpret(monkeypatch, loaded_route)
    plain = loaded_route.solved_candidates(*given)
    # 1e-13: the order of operations is the same, and sums of two terms round alike.
    np.testing.assert_allclose(compiled[0], plain[0], rtol=1e-13, atol=0.0)
    np.testing.assert_array_equal(compiled[1], plain[1])
    assert compiled[2] == plain[2]
    assert compiled[3] == pytest.approx(plain[3], rel=1e-9)


# One row of a current, one of a power, one of a power beyond every candidate, one unheard of.
NUMBERS = np.array(
    [
        [12.6, 0.36, 25.0, math.nan, 0.006, 0.002, 1.2, 3.4],
        [12.6, 0.36, math.nan, 90.0, 0.006, 0.002, 1.2, 3.4],
        [12.6, 0.36, math.nan, 3e4, 0.006, 0.002, 1.2, 3.4],
        [12.6, 0.36, math.nan, math.nan, 0.006, 0.002, 1.2, 3.4],
    ]
)


def sized_rows(module, rows):
    """Choice and columns of rows, with thicker candidates, by the functions of the module."""
    limits = np.concatenate([np.full((2, 9), 400.0), np.zeros((2, 9)), np.full((1, 9), 0.05)])
    # Half the candidates are too thin by strength.
    limits[2, :4] = 2.0
    chosen, verdict = np.full(4, -1, np.int16), np.zeros(4, np.int16)
    unusual = np.zeros(4, np.bool_)
    columns = sizing_rows.CandidateColumns(
        np.full((9, 4), 255, np.uint8), *[np.zeros((9, 4)) for _ in range(4)]
    )
    numbers = NUMBERS.copy()
    # Wide enough for the resistances of the route, which are drawn.
    numbers[:, 1] = 8.0
    route = ROUTE._replace(length_m=np.zeros(2))
    module._size_rows(numbers, route, limits, chosen, verdict, unusual, columns)
    module._solve_thicker(numbers[rows], route, limits, chosen, rows, columns)
    return chosen, verdict, unusual, *columns


def test_rows_have_the_same_conductors_compiled_and_interpreted(monkeypatch):
    rows = np.arange(4)[::2]
    compiled = sized_rows(sizing_rows, rows)
    for module in (temperature_curve, loaded_route, criteria, sizing_rows):
        interpret(monkeypatch, module)
    plain = sized_rows(sizing_rows, rows)
    assert compiled[0].max() >= 4
    assert compiled[2].tolist() == [False, False, False, True]
    for machine_code, python in zip(compiled, plain, strict=True):
        # 1e-13: the order of operations is the same, and sums of two terms round alike.
        np.testing.assert_allclose(machine_code, python, rtol=1e-13, atol=0.0)


def test_loops_leave_arrays_to_those_who_hold_them():
    @machine.compiled_loop
    def doubled(values: np.ndarray) -> None:
        for place in range(values.size):
            values[place] *= 2.0

    values = np.ones(3)
    doubled(values)
    before = sys.getrefcount(values)
    for _ in range(100):
        doubled(values)
    assert sys.getrefcount(values) == before
    assert values.tolist() == [2.0**101] * 3


@pytest.mark.parametrize("seed", [0, 7, 10, 18])
def test_networks_have_the_same_figures_compiled_and_interpreted(monkeypatch, seed):
    draft = drawn_network(seed)
    given = draft.shape(), draft.elements()
    before = solver.solved_networks(*given), collapse.collapse_of_all_loads(*given)
    for module in (linear, heated, currents, steps, solver, collapse):
        interpret(monkeypatch, module)
    after = solver.solved_networks(*given), collapse.collapse_of_all_loads(*given)
    # 1e-13: the order of operations is the same, but the compiler may take powers otherwise.
    for compiled, plain in zip(before, after, strict=True):
        for name, values in compiled._asdict().items():
            others = getattr(plain, name)
            # What is left over is rounding, and how far the bounds have come hangs on it.
            if not name.startswith("residual"):
                np.testing.assert_allclose(values, others, rtol=1e-13, atol=1e-13, err_msg=name)
    assert not isinstance(solver.solved_networks, Dispatcher)


def test_damage_times_are_those_of_numpy():
    excess, times = np.linspace(-7.0, 7.0, 65), np.linspace(9.0, -5.0, 65)
    current = np.array([10.0, 20.0, 20.1, 33.0, 400.0])
    compiled = damage._times_on_line_s(current, 20.0, excess, times)
    with np.errstate(divide="ignore"):
        plain = np.exp(np.interp(np.log(np.maximum(current / 20.0 - 1.0, 0.0)), excess, times))
    np.testing.assert_allclose(compiled[2:], plain[2:], rtol=1e-13)
    assert np.isinf(compiled[:2]).all()


def test_lines_are_rounded_half_to_even_and_nan_stays():
    values = np.array([[0.5, 1.5, 2.5, math.nan], [1.2345, -1.2355, 0.0, 1e9]])
    lines = figures.rounded_lines(
        values,
        np.array([0, 1, 1]),
        (1.0, 1.0, -2.0),
        (0.0, 0.0, 1.0),
        np.array([1.0, 1e3, 1e2]),
    )
    np.testing.assert_array_equal(lines[0], [0.0, 2.0, 2.0, math.nan])
    # Scaled to 1234.5 and -1235.5, each a tie that goes to the even neighbour.
    np.testing.assert_array_equal(lines[1], [1.234, -1.236, 0.0, 1e9])
    np.testing.assert_array_equal(lines[2], [-1.47, 3.47, 1.0, -1999999999.0])


def test_fuses_of_rows_are_the_same_compiled_and_interpreted(monkeypatch):
    cases = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        asked = drawn_requests(rng)
        cases.append((asked, drawn_numbers(rng, asked[0], 60), rng.integers(0, 3, 60)))
    before = [fused(*case) for case in cases]
    interpret(monkeypatch, fuse_rows)
    assert not isinstance(fuse_rows._figures, Dispatcher)
    for compiled, plain in zip(before, [fused(*case) for case in cases], strict=True):
        np.testing.assert_array_equal(compiled.verdict, plain.verdict)
        np.testing.assert_array_equal(compiled.fuse_type, plain.fuse_type)
        np.testing.assert_array_equal(compiled.rated_current_a, plain.rated_current_a)
    assert any((each.fuse_type >= 0).any() for each in before)


def test_sizes_of_rows_are_the_same_compiled_and_interpreted(monkeypatch):
    job = job_from_document(demo_job("van_second_battery"), tables(), fuse_tables().types)
    variation = extremes(job, 200, seed=5)
    before = batch_sizing.sized_rows(variation)
    interpret(monkeypatch, batch_sizing)
    after = batch_sizing.sized_rows(variation)
    np.testing.assert_array_equal(before.unusual, after.unusual)
    for key, compiled in before.circuits.items():
        for name in CircuitSizes.__annotations__:
            plain = getattr(after.circuits[key], name)
            np.testing.assert_array_equal(getattr(compiled, name), plain, err_msg=name)


def test_no_request_waits_for_the_compiler():
    client = create_app().test_client()
    before = {name: len(each.signatures) for name, each in every_compiled_formula().items()}
    for path in sorted(BODIES.glob("*.json")):
        # Other forms of an answer state no bodies of their own.
        for body in json.loads(path.read_text(encoding="utf-8")).get("bodies", ()):
            assert client.post(f"/v1/{path.stem}", json=body).status_code == 200
    after = {name: len(each.signatures) for name, each in every_compiled_formula().items()}
    assert len(before) >= 5
    assert after == before


def test_no_place_for_the_cache_is_no_reason_to_fail(monkeypatch):
    real, asked = numba.njit, []

    def without_a_place(formula, **options):
        asked.append(options)
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return real(formula, **options)

    monkeypatch.setattr(machine.numba, "njit", without_a_place)

    @machine.compiled
    def half(value: float) -> float:
        return value / 2.0

    assert half(3.0) == 1.5
    assert [options.get("cache", False) for options in asked] == [True, False]


def test_division_by_zero_is_an_infinity_as_in_numpy():
    @machine.compiled
    def quotient(dividend: float, divisor: float) -> float:
        return dividend / divisor

    assert quotient(1.0, 0.0) == math.inf
    assert math.isnan(quotient(0.0, 0.0))
