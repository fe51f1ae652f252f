"""Ways to wire voice coils: counts against a published sequence, hand-worked cases and laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases import case_parameters
from loomwright.engineering.audio import driver_wiring
from loomwright.engineering.audio.coil_power import network_power
from loomwright.engineering.audio.driver_wiring import (
    DriverSort,
    coil_wirings,
    notation_of,
    words_of,
)
from loomwright.engineering.audio.load_fault import (
    coil_fault,
    coil_faults,
    faults_by_effect,
    least_load_with_a_short_ohm,
    worst_open_coil,
)
from loomwright.engineering.audio.load_match import (
    dc_resistances_ohm,
    is_load_permitted,
    load_match,
    output_after,
)
from loomwright.engineering.audio.load_request import LoadDriver, LoadMatchRequest
from loomwright.engineering.audio.load_working import load_working
from loomwright.engineering.audio.series_parallel import (
    Group,
    after_fault,
    in_order,
    network_count,
    networks,
    parts_of,
)
from loomwright.engineering.audio.stated_output import (
    ChannelOutput,
    StatedOutput,
    channel_outputs,
    channel_voltage_v,
    voltage_falls_with_load,
)
from loomwright.engineering.errors import EngineeringError

# OEIS A000084, series-parallel networks of n like edges, and A006351, of n labelled ones (memory).
LIKE = (1, 2, 4, 10, 24, 66, 180, 522)
UNLIKE = (1, 2, 8, 52, 472, 5504)
PAIRS = Group("parallel", (Group("series", (0, 1)), Group("series", (2, 3))))


def request_of(given_values):
    values = dict(given_values)
    values["drivers"] = tuple(LoadDriver(**entry) for entry in values["drivers"])
    values["outputs"] = tuple(StatedOutput(*entry) for entry in values.get("outputs", ()))
    return LoadMatchRequest(**values)


@pytest.mark.parametrize(("parts", "count"), list(enumerate(LIKE, 1)))
def test_like_parts_make_as_many_networks_as_published(parts, count):
    found = networks((parts,))
    assert len(found) == len(set(map(in_order, found))) == count
    assert network_count((parts,)) == count
    assert all(len(list(parts_of(network))) == parts for network in found)
    assert len(coil_wirings((DriverSort(parts, 1),), True)) == count
    assert len(coil_wirings((DriverSort(parts, 1),), False)) == count


def test_published_sequence_follows_from_the_euler_transform():
    # n a(n) = sum c(k) a(n-k), c(k) = sum over d | k of d b(d); b = a / 2 but for b(1) = 1.
    halves, wholes = [0, 1], [1, 1]
    for n in range(2, 9):
        sums = [sum(d * halves[d] for d in range(1, min(k, n - 1) + 1) if k % d == 0)
                for k in range(n + 1)]  # fmt: skip
        halves.append(sum(sums[k] * wholes[n - k] for k in range(1, n + 1)) // n)
        wholes.append(2 * halves[n])
    assert tuple(wholes[1:]) == LIKE


@pytest.mark.parametrize(("parts", "count"), list(enumerate(UNLIKE, 1)))
def test_unlike_parts_make_as_many_networks_as_published(parts, count):
    assert network_count((1,) * parts) == count
    if parts <= 5:
        found = networks((1,) * parts)
        assert len(found) == len(set(map(in_order, found))) == count


def test_coils_of_a_driver_together_are_among_all_ways():
    sorts = (DriverSort(2, 2),)
    together = {notation_of(way, tuple("abcd")) for way in coil_wirings(sorts, True)}
    free = {notation_of(way, tuple("abcd")) for way in coil_wirings(sorts, False)}
    # By hand: inside each driver series or parallel, the drivers in series or parallel.
    assert together == {
        "a+b+c+d", "(a+b)|(c+d)", "(a|b)+(c|d)", "a|b|c|d", "(a|b)+c+d", "a|b|(c+d)"
    }  # fmt: skip
    # The other driver may stand first in the list of all.
    exchanged = str.maketrans("abcd", "cdab")
    kept = {frozenset((way, way.translate(exchanged))) for way in together}
    turned = {"(a|b)+c+d": "a+b+(c|d)", "a|b|(c+d)": "(a+b)|c|d"}
    assert all(group & free or turned[min(group & together)] in free for group in kept)
    assert len(free) == 16


@pytest.mark.parametrize(
    ("sorts", "together", "code", "limit"),
    [
        ((DriverSort(9, 1),), True, "too_many_coils", 8),
        ((DriverSort(3, 3),), True, "too_many_coils", 8),
        ((DriverSort(1, 1),) * 6, True, "too_many_wirings", 1200),
        ((DriverSort(4, 2),), False, "too_many_wirings", 1200),
    ],
)
def test_too_much_is_refused_with_the_limit(sorts, together, code, limit):
    with pytest.raises(EngineeringError) as caught:
        coil_wirings(sorts, together)
    assert (caught.value.code, caught.value.field) == (code, "drivers")
    assert caught.value.attributes["value"] > caught.value.attributes["limit"] == limit
    assert str(limit) in caught.value.message


@pytest.mark.parametrize("sort", [DriverSort(3, 1), DriverSort(1, 3)])
def test_as_many_ways_as_the_limit_are_listed(monkeypatch, sort):
    # Three coils alike make four.
    assert LIKE[2] == 4
    uncached = coil_wirings.__wrapped__
    monkeypatch.setattr(driver_wiring, "GREATEST_NETWORK_COUNT", 4)
    assert len(uncached((sort,), False)) == 4
    monkeypatch.setattr(driver_wiring, "GREATEST_NETWORK_COUNT", 3)
    with pytest.raises(EngineeringError, match="There are 4 ways"):
        uncached((sort,), False)


def test_way_is_written_in_short_and_in_words():
    names = ("A1", "A2", "A3", "A4")
    assert notation_of(PAIRS, names) == "(A1+A2)|(A3+A4)"
    assert words_of(PAIRS, names) == "(A1 and A2 in series) and (A3 and A4 in series) in parallel"
    assert words_of(Group("series", (0, 1, 2)), names) == "A1, A2 and A3 in series"
    assert notation_of(1, names) == words_of(1, names) == "A2"


@pytest.mark.parametrize("case", case_parameters("loudspeakers/wirings"))
def test_match(case):
    match = load_match(request_of(case["given"]))
    expected = case["expected"]
    best = match.wirings[0]
    rel = case["tolerance"]["relative"]
    assert match.verdict == expected["verdict"]
    assert len(match.wirings) == expected["count"]
    assert match.load.least_load_impedance_ohm == expected["least_load"]
    assert best.verdict == expected["best"]
    assert (match.recommended is best) == (expected["best"] == "within_limits")
    names = tuple(coil.name for coil in match.load.coils)
    assert notation_of(best.network, names) == expected["notation"]
    assert best.power.impedance_ohm == pytest.approx(expected["load"], rel=rel)
    assert best.output_w == (
        None if expected["output"] is None else pytest.approx(expected["output"], rel=rel)
    )
    assert best.output_basis == expected["basis"]
    shares = [best.power.shares[place] for place in range(len(names))]
    assert shares == pytest.approx(expected["shares"], rel=rel)
    assert best.power_limit_w == (
        None if expected["power_limit"] is None else pytest.approx(expected["power_limit"], rel=rel)
    )
    assert list(best.overloaded) == expected["overloaded"]


@pytest.mark.parametrize(
    ("load_ohm", "voltage_v", "basis"),
    [
        # 100 W at 4 ohm are 20 V, 128 W at 2 ohm are 16 V; 1/U at 8/3 ohm, halfway in 1/Z, is
        # (1/20 + 1/16) / 2 = 0.05625.
        (4.0, 20.0, "stated"),
        (2.0, 16.0, "stated"),
        (8.0 / 3.0, 1.0 / 0.05625, "interpolated"),
        (8.0, 20.0, "voltage_held_above"),
        (1.0, 16.0, "voltage_held_below"),
    ],
)
def test_voltage_of_a_channel(load_ohm, voltage_v, basis):
    outputs = channel_outputs((StatedOutput(4.0, 100.0), StatedOutput(2.0, 128.0)))
    found, known = channel_voltage_v(load_ohm, outputs)
    assert found == pytest.approx(voltage_v, rel=1e-12)
    assert known == basis


@pytest.mark.parametrize(
    ("load_ohm", "inverse_v"),
    [
        # 8 V at 1 ohm, 16 V at 2, 20 V at 4 and 25 V at 8 ohm; halfway in 1/Z between the two.
        (4.0 / 3.0, (1.0 / 8.0 + 1.0 / 16.0) / 2.0),
        (8.0 / 3.0, (1.0 / 16.0 + 1.0 / 20.0) / 2.0),
        (16.0 / 3.0, (1.0 / 20.0 + 1.0 / 25.0) / 2.0),
    ],
)
def test_voltage_is_interpolated_between_the_nearest_statements(load_ohm, inverse_v):
    stated = ((1.0, 64.0), (2.0, 128.0), (4.0, 100.0), (8.0, 78.125))
    outputs = channel_outputs(tuple(StatedOutput(*each) for each in stated))
    found = channel_voltage_v(load_ohm, outputs)
    assert found == (pytest.approx(1.0 / inverse_v, rel=1e-12), "interpolated")


def test_bridged_statement_is_half_for_each_channel_and_the_least_counts():
    # 400 W bridged at 8 ohm are 200 W at 4 ohm a channel; 100 W are stated there as well.
    (one,) = channel_outputs((StatedOutput(8.0, 400.0, True), StatedOutput(4.0, 100.0)))
    assert (one.load_impedance_ohm, one.voltage_v) == (4.0, pytest.approx(20.0, rel=1e-12))


def test_bridged_statement_alone_is_half_of_the_power_at_half_of_the_load():
    # 400 W at 8 ohm are 200 W at 4 ohm a channel, sqrt(800) V.
    (one,) = channel_outputs((StatedOutput(8.0, 400.0, True),))
    assert one == (4.0, pytest.approx(28.284271, rel=1e-7))


def test_statements_within_a_thousandth_are_of_one_load():
    # 36 W at 1 ohm are 6 V, 128 W at 2 ohm 16 V, 100 W at 4 ohm 20 V; 64.032 W at 4.002 are 16.008.
    low = (StatedOutput(4.002, 64.032), StatedOutput(2.0, 128.0), StatedOutput(1.0, 36.0))
    found = channel_outputs((StatedOutput(4.0, 100.0), *low))
    assert [load for load, _ in found] == [1.0, 2.0, 4.002]
    assert [volt for _, volt in found] == pytest.approx([6.0, 16.0, 16.008], rel=1e-9)
    # At a higher voltage there the statement at 4 ohm stays.
    found = channel_outputs((StatedOutput(4.0, 100.0), StatedOutput(4.002, 144.072), *low[1:]))
    assert [load for load, _ in found] == [1.0, 2.0, 4.0]
    assert [volt for _, volt in found] == pytest.approx([6.0, 16.0, 20.0], rel=1e-9)


@pytest.mark.parametrize(
    ("second_ohm", "first_ohm", "count"),
    [(40.03, 40.0, 1), (40.05, 40.0, 2), (0.5008, 0.5, 2), (0.5004, 0.5, 1), (1001.0, 1000.0, 1)],
)
def test_loads_are_one_within_a_thousandth_of_the_lower(second_ohm, first_ohm, count):
    stated = (StatedOutput(first_ohm, 10.0), StatedOutput(second_ohm, 10.0))
    assert len(channel_outputs(stated)) == count


@pytest.mark.parametrize(("above_v", "falls"), [(1.0, False), (0.999, False), (0.998, True)])
def test_voltage_falls_where_it_is_lower_by_more_than_a_thousandth(above_v, falls):
    outputs = (ChannelOutput(2.0, 1.0), ChannelOutput(4.0, above_v), ChannelOutput(8.0, 1.0))
    assert voltage_falls_with_load(outputs) == falls


def test_output_that_more_than_doubles_at_half_the_load_is_noticed():
    four = StatedOutput(4.0, 100.0)
    assert not voltage_falls_with_load(channel_outputs((four, StatedOutput(2.0, 200.0))))
    assert voltage_falls_with_load(channel_outputs((four, StatedOutput(2.0, 210.0))))


def test_open_coil_silences_what_is_in_series_with_it():
    whole = network_power(PAIRS, (4.0,) * 4)
    faults = coil_faults(PAIRS, whole, (4.0,) * 4)
    opens, shorts = faults_by_effect(faults)
    assert [(case.fault, case.coil) for case in opens] == [("open", coil) for coil in range(4)]
    assert opens[0].silent_coils == (0, 1)
    assert opens[2].silent_coils == (2, 3)
    # 8 in place of 4 ohm: half the power, and no more than before in those left.
    assert opens[0].load_impedance_ohm == 8.0
    assert opens[0].power_change_db == pytest.approx(-3.0103, abs=1e-4)
    assert opens[0].coil_power_rise_db == pytest.approx(0.0, abs=1e-9)
    # 4 | 8 ohm is 8/3: power times 1.5; the coil beside the short takes four times its power.
    assert shorts[0].silent_coils == (0,)
    assert shorts[0].load_impedance_ohm == pytest.approx(8.0 / 3.0)
    assert shorts[0].power_change_db == pytest.approx(1.7609, abs=1e-4)
    assert shorts[0].coil_power_rise_db == pytest.approx(6.0206, abs=1e-4)
    worst = worst_open_coil(faults)
    assert worst[:2] == (2, 8.0)
    assert worst[2:] == pytest.approx((-3.0103, 0.0), abs=1e-4)
    assert least_load_with_a_short_ohm(faults) == pytest.approx(8.0 / 3.0)


def test_open_coil_in_series_silences_all_and_a_short_in_parallel_shorts_the_amplifier():
    series = Group("series", (0, 1))
    whole = network_power(series, (4.0, 4.0))
    gone = coil_fault(series, whole, (4.0, 4.0), 0, "open")
    assert (gone.silent_coils, gone.left, gone.load_impedance_ohm) == ((0, 1), None, None)
    assert gone.power_change_db is gone.coil_power_rise_db is None
    assert worst_open_coil(coil_faults(series, whole, (4.0, 4.0))) == (2, None, None, None)
    parallel = Group("parallel", (0, 1))
    short = coil_fault(parallel, network_power(parallel, (4.0, 4.0)), (4.0, 4.0), 1, "short")
    assert (short.silent_coils, short.left, short.load_impedance_ohm) == ((0, 1), None, 0.0)


def test_what_a_fault_leaves_has_the_one_form():
    assert after_fault(Group("series", (0, 1)), 0, "short") == 1
    assert after_fault(Group("parallel", (0, 1)), 1, "open") == 0
    # 0 + (1 | (2 + 3)) with 1 open is three in series.
    inside = Group("parallel", (1, Group("series", (2, 3))))
    assert after_fault(Group("series", (0, inside)), 1, "open") == Group("series", (0, 2, 3))
    assert after_fault(PAIRS, 0, "short") == Group("parallel", (1, Group("series", (2, 3))))
    assert after_fault(PAIRS, 0, "open") == Group("series", (2, 3))


def test_faults_that_leave_unlike_loads_stand_apart():
    parallel = Group("parallel", (0, 1))
    faults = coil_faults(parallel, network_power(parallel, (4.0, 8.0)), (4.0, 8.0))
    found = [[(case.fault, case.coil) for case in alike] for alike in faults_by_effect(faults)]
    # Either leaves one coil, of 8 ohm or of 4 ohm; either short is one of the amplifier.
    assert found == [[("open", 0)], [("open", 1)], [("short", 0), ("short", 1)]]


def test_fault_is_judged_by_output_and_load():
    match = load_match(
        request_of(
            {
                "drivers": [{"quantity": 2, "coils": 2, "coil_impedance_ohm": 4.0,
                             "power_limit_w": 300.0}],
                "least_load_impedance_ohm": 2.0,
                "outputs": [[4.0, 300.0]],
            }
        )
    )  # fmt: skip
    best = match.wirings[0]
    faults = coil_faults(best.network, best.power, match.load.impedances_ohm)
    # 34.64 V into 8 ohm: 150 W; into 8/3 ohm: 450 W, of which A1b takes 300 W, twice its half.
    assert output_after(faults[0], match.load) == (pytest.approx(150.0), ())
    assert output_after(faults[4], match.load) == (pytest.approx(450.0), ("A1",))
    assert is_load_permitted(None, match.load)
    assert is_load_permitted(2.0, match.load)
    assert not is_load_permitted(1.99, match.load)
    # 0.7 and 0.9 of the nominal 4 ohm.
    assert dc_resistances_ohm(best.network, match.load) == pytest.approx((2.8, 3.6))


def test_stated_resistance_is_read_within_a_tenth():
    drivers = [{"quantity": 2, "coils": 1, "coil_impedance_ohm": 4.0,
                "coil_dc_resistance_ohm": 3.2}]  # fmt: skip
    match = load_match(request_of({"drivers": drivers, "least_load_impedance_ohm": 8.0}))
    assert dc_resistances_ohm(match.wirings[0].network, match.load) == pytest.approx((5.76, 7.04))


@pytest.mark.parametrize("bad", [0.0999, 1000.1])
def test_least_load_out_of_range_is_refused(bad):
    drivers = [{"quantity": 1, "coils": 1, "coil_impedance_ohm": 4.0}]
    with pytest.raises(EngineeringError) as caught:
        load_match(request_of({"drivers": drivers, "least_load_impedance_ohm": bad}))
    assert (caught.value.code, caught.value.field) == ("out_of_range", "least_load_impedance_ohm")


def test_working_leads_to_load_and_output():
    given_values = {
        "drivers": [{"quantity": 2, "coils": 2, "coil_impedance_ohm": 4.0}],
        "least_load_impedance_ohm": 1.5,
        "bridged": True,
        "outputs": [[4.0, 100.0], [1.0, 200.0]],
    }
    match = load_match(request_of(given_values))
    results = [(step.unit, step.result) for step in load_working(match)]
    best = match.wirings[0]
    assert ("ohm", best.power.impedance_ohm) in results
    assert ("W", pytest.approx(best.output_w, rel=1e-6)) in results


# --- laws ---


@st.composite
def loads(draw):
    sorts = [DriverSort(draw(st.integers(1, 2)), draw(st.integers(1, 2)))]
    if draw(st.booleans()):
        sorts.append(DriverSort(1, draw(st.integers(1, 2))))
    together = draw(st.booleans())
    way = draw(st.sampled_from(coil_wirings(tuple(sorts), together)))
    coils = sum(sort.drivers * sort.coils for sort in sorts)
    impedances = draw(st.lists(st.floats(0.5, 50.0), min_size=coils, max_size=coils))
    return way, tuple(impedances)


def edges_of(network, start, end, fresh):
    """Yield coil, and the nodes that it lies between."""
    if isinstance(network, int):
        yield network, start, end
    elif network.kind == "parallel":
        for part in network.parts:
            yield from edges_of(part, start, end, fresh)
    else:
        nodes = [start, *(next(fresh) for _ in network.parts[1:]), end]
        for part, left, right in zip(network.parts, nodes, nodes[1:], strict=False):
            yield from edges_of(part, left, right, fresh)


@settings(max_examples=100)
@given(loads())
def test_nodal_analysis_gives_the_same_load_and_powers(load):
    network, impedances = load
    edges = list(edges_of(network, 0, 1, iter(range(2, 20))))
    size = 1 + max(max(left, right) for _, left, right in edges)
    matrix = np.zeros((size, size))
    for coil, left, right in edges:
        for one, other in ((left, right), (right, left)):
            matrix[one, one] += 1.0 / impedances[coil]
            matrix[one, other] -= 1.0 / impedances[coil]
    current = np.zeros(size)
    current[0] = 1.0  # 1 A in at node 0, out at node 1, which is earthed
    kept = [node for node in range(size) if node != 1]
    volts = np.zeros(size)
    volts[kept] = np.linalg.solve(matrix[np.ix_(kept, kept)], current[kept])
    found = network_power(network, impedances)
    assert found.impedance_ohm == pytest.approx(volts[0], rel=1e-9)
    for coil, left, right in edges:
        power = (volts[left] - volts[right]) ** 2 / impedances[coil]
        assert found.shares[coil] == pytest.approx(power / volts[0], rel=1e-9)
    assert sum(found.shares.values()) == pytest.approx(1.0, rel=1e-12)


@given(loads(), st.floats(0.1, 10.0))
def test_impedance_scales_and_lies_between_all_in_parallel_and_all_in_series(load, factor):
    network, impedances = load
    whole = network_power(network, impedances).impedance_ohm
    scaled = network_power(network, tuple(factor * each for each in impedances)).impedance_ohm
    assert scaled == pytest.approx(factor * whole, rel=1e-9)
    least = 1.0 / sum(1.0 / each for each in impedances)
    assert least * (1 - 1e-12) <= whole <= sum(impedances) * (1 + 1e-12)


@given(loads())
def test_open_coil_never_lowers_the_load_and_a_short_never_raises_it(load):
    network, impedances = load
    whole = network_power(network, impedances)
    for case in coil_faults(network, whole, impedances):
        if case.load_impedance_ohm is not None:
            ratio = case.load_impedance_ohm / whole.impedance_ohm
            assert ratio >= 1 - 1e-12 if case.fault == "open" else ratio <= 1 + 1e-12


@given(st.floats(1.0, 16.0), st.floats(1.0, 16.0), st.floats(0.5, 8.0))
def test_order_of_drivers_changes_no_figure(first, second, least):
    entries = [{"quantity": 1, "coils": 1, "coil_impedance_ohm": each} for each in (first, second)]
    figures = []
    for drivers in (entries, entries[::-1]):
        match = load_match(request_of({"drivers": drivers, "least_load_impedance_ohm": least}))
        figures.append((match.verdict, [way.power.impedance_ohm for way in match.wirings]))
    assert figures[0][0] == figures[1][0]
    assert figures[0][1] == pytest.approx(figures[1][1], rel=1e-9)


def test_entries_that_state_the_same_are_alike():
    one = {"quantity": 1, "coils": 1, "coil_impedance_ohm": 4.0}
    match = load_match(request_of({"drivers": [one] * 4, "least_load_impedance_ohm": 2.0}))
    assert len(match.wirings) == LIKE[3]
    assert [driver.name for driver in match.load.drivers] == ["A1", "B1", "C1", "D1"]
