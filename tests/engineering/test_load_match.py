"""Match of drivers to an amplifier: order of use, limits to the last digit, cautions, names."""

from dataclasses import replace

import pytest

from loomwright.engineering.audio.driver_wiring import DriverSort, notation_of
from loomwright.engineering.audio.load_fault import coil_faults
from loomwright.engineering.audio.load_match import (
    is_load_permitted,
    load_match,
    output_after,
    output_into,
)
from loomwright.engineering.audio.load_request import (
    LoadDriver,
    LoadMatchRequest,
    check_load_match_request,
    coils_of,
    drivers_by_sort,
    least_load_of_request_ohm,
)
from loomwright.engineering.audio.stated_output import StatedOutput, channel_outputs
from loomwright.engineering.errors import EngineeringError

ALWAYS = ("defer_to_maker", "nominal_impedance")


def drivers_of(*impedances, quantity=1, coils=1, limit=None):
    return tuple(
        LoadDriver(
            quantity=quantity, coils=coils, coil_impedance_ohm=impedance, power_limit_w=limit
        )
        for impedance in impedances
    )


def match_of(drivers, least=0.1, *outputs, **changes):
    stated = tuple(StatedOutput(*each) for each in outputs)
    return load_match(
        LoadMatchRequest(drivers=drivers, least_load_impedance_ohm=least, outputs=stated, **changes)
    )


def loads(match, count):
    return [way.power.impedance_ohm for way in match.wirings[:count]]


def notations(match, count):
    names = tuple(coil.name for coil in match.load.coils)
    return [notation_of(way.network, names) for way in match.wirings[:count]]


def test_equal_power_in_all_comes_first_and_then_equal_power_in_each_driver():
    # Two drivers of three 4 ohm coils each: inside 12, 4/3, 6 or 8/3 ohm, the first two with equal
    # power in each coil. Twice the same in parallel or in series is equal power in each driver.
    match = match_of(drivers_of(4.0, quantity=2, coils=3))
    assert len(match.wirings) == 20
    assert loads(match, 4) == pytest.approx([2 / 3, 8 / 3, 6.0, 24.0])
    assert loads(match, 8)[4:] == pytest.approx([4 / 3, 3.0, 16 / 3, 12.0])
    # 4/3 and 8/3 ohm in parallel.
    assert loads(match, 9)[8] == pytest.approx(8 / 9)


def test_of_ways_with_one_load_that_of_the_fewest_groups_comes_first():
    # Six of 4 ohm: 8/3 and 6 ohm are made in three ways each, of three groups, four and five. Of
    # 8 and 4 ohm in parallel one third is for two and two thirds for four.
    match = match_of(drivers_of(4.0, quantity=6), 2.5)
    assert notations(match, 7) == [
        "(A1|A2|A3)+(A4|A5|A6)",
        "(A1+A2)|(A3+A4)|(A5+A6)",
        "(A1+A2)|((A3|A4)+(A5|A6))",
        "(A1+A2+A3)|(A4+A5+A6)",
        "(A1|A2)+(A3|A4)+(A5|A6)",
        "(A1|A2)+((A3+A4)|(A5+A6))",
        "A1+A2+A3+A4+A5+A6",
    ]


def test_ways_below_the_limit_come_last_the_nearest_first():
    # Two of 4 ohm: 8 and 2 ohm, both below 9.
    match = match_of(drivers_of(4.0, quantity=2), 9.0)
    assert loads(match, 2) == [8.0, 2.0]
    assert (match.verdict, match.recommended) == ("no_wiring_within_limits", None)
    assert match.load.channels == 1
    match = match_of(drivers_of(4.0, quantity=2), 3.0)
    assert loads(match, 2) == [8.0, 2.0]
    assert [way.verdict for way in match.wirings] == ["within_limits", "load_too_low"]


def test_power_within_the_drivers_limit_counts_before_the_least_load():
    # 40 V into 8 ohm are 200 W, into 2 ohm 800 W: 400 W on a driver of 150 W. In series each takes
    # 100 W and the whole could be 300 W.
    match = match_of(drivers_of(4.0, quantity=2, limit=150.0), 1.0, (2.0, 800.0))
    first, second = match.wirings
    assert (first.power.impedance_ohm, first.output_w) == (8.0, pytest.approx(200.0))
    assert (first.verdict, first.overloaded, first.power_limit_w) == ("within_limits", (), 300.0)
    assert (second.verdict, second.overloaded) == ("drivers_overloaded", ("A1", "A2"))
    assert (second.power_limit_w, second.output_basis) == (300.0, "stated")
    assert match.verdict == "wiring_found"
    assert match.recommended is first


def test_of_overloading_ways_that_which_bears_the_most_comes_first():
    # Of 8 and 4 ohm at 10 W each: in parallel 4 ohm takes two thirds, so that 15 W are borne; in
    # series 8 ohm takes two thirds and 15 W are borne as well. With 10 W and 40 W it is 30 W to 15.
    one = drivers_of(8.0, limit=10.0) + drivers_of(4.0, limit=40.0)
    match = match_of(one, 1.0, (4.0, 400.0))
    assert [way.power_limit_w for way in match.wirings] == pytest.approx([30.0, 15.0])
    assert loads(match, 2) == pytest.approx([8 / 3, 12.0])
    assert match.verdict == "drivers_overloaded"
    assert match.wirings[0].driver_shares == pytest.approx((1 / 3, 2 / 3))


@pytest.mark.parametrize(
    ("unlike_by", "equal"), [(0.0, True), (5e-10, True), (2e-9, False), (-2e-9, False)]
)
def test_power_is_equal_to_a_billionth_of_the_share(unlike_by, equal):
    match = match_of(drivers_of(4.0, 4.0 * (1.0 + unlike_by)), 1.0)
    best = match.wirings[0]
    assert best.equal_per_driver == equal
    assert best.equal_per_coil
    assert ("unequal_power" in match.cautions) != equal
    assert match.verdict == ("wiring_found" if equal else "unequal_wiring_found")


def test_load_is_permitted_down_to_a_billionth_below_the_limit():
    load = match_of(drivers_of(4.0), 2.0).load
    assert is_load_permitted(2.0 * (1.0 - 1e-9), load)
    assert not is_load_permitted(2.0 * (1.0 - 2e-9), load)


@pytest.mark.parametrize(("over", "overloaded"), [(0.0, ()), (1e-9, ()), (2e-9, ("A1",))])
def test_power_limit_is_met_up_to_a_billionth_above(over, overloaded):
    # 20 V into 4 ohm are 100 W exactly.
    match = match_of(drivers_of(4.0, limit=100.0 / (1.0 + over)), 4.0, (4.0, 100.0))
    assert match.wirings[0].output_w == 100.0
    assert match.wirings[0].overloaded == overloaded
    assert ("driver_overload" in match.cautions) == bool(overloaded)


def test_one_coil_above_its_share_of_the_limit_overloads_its_driver():
    # Three coils of 4 ohm, one in series with the others in parallel: 6 ohm, of which it takes two
    # thirds. 60 W there are 40 W on a coil of 33.3 W. In series all take 30 / 3 W, at 12 ohm.
    match = match_of(drivers_of(4.0, coils=3, limit=100.0), 1.0, (6.0, 60.0))
    ways = dict(zip(notations(match, 4), match.wirings, strict=True))
    assert ways["A1a+(A1b|A1c)"].overloaded == ("A1",)
    assert ways["A1a+(A1b|A1c)"].power_limit_w == pytest.approx(50.0)
    assert ways["A1a+A1b+A1c"].overloaded == ()


def test_driver_that_falls_silent_is_not_overloaded():
    # 20 V into 2 ohm, 50 W on each of four 8 ohm drivers of 100 W: with one open, 150 W into 8/3.
    match = match_of(drivers_of(8.0, quantity=4, limit=100.0), 2.0, (2.0, 200.0))
    best = match.wirings[0]
    assert notations(match, 1) == ["A1|A2|A3|A4"]
    gone = coil_faults(best.network, best.power, match.load.impedances_ohm)[0]
    assert output_after(gone, match.load) == (pytest.approx(150.0), ())


def test_fault_without_stated_output_or_with_nothing_left_has_no_output():
    match = match_of(drivers_of(4.0, quantity=2), 2.0)
    best = match.wirings[0]
    gone, *_, short = coil_faults(best.network, best.power, match.load.impedances_ohm)
    assert output_after(gone, match.load) == (None, ())
    stated = replace_outputs(match.load)
    assert output_after(gone, stated)[0] == pytest.approx(100.0)
    assert output_after(short, stated) == (None, ())


def replace_outputs(load):
    return replace(load, outputs=channel_outputs((StatedOutput(4.0, 100.0),)))


def test_bridged_pair_gives_twice_what_a_channel_gives_into_half():
    outputs = channel_outputs((StatedOutput(4.0, 100.0),))
    assert output_into(4.0, outputs, bridged=False) == (100.0, "stated")
    assert output_into(8.0, outputs, bridged=True) == (200.0, "stated")
    # 20 V a channel held into 2 ohm are 200 W.
    assert output_into(4.0, outputs, bridged=True) == (400.0, "voltage_held_below")


@pytest.mark.parametrize(
    ("drivers", "least", "outputs", "changes", "expected"),
    [
        (drivers_of(4.0), 2.0, (), {}, ALWAYS),
        (drivers_of(4.0, 4.0), 2.0, (), {}, ALWAYS),
        (drivers_of(4.0, 8.0), 2.0, (), {}, (*ALWAYS, "unlike_drivers", "unequal_power")),
        (drivers_of(4.0), 2.0, (), {"bridged": True}, (*ALWAYS, "bridged_outputs")),
        (drivers_of(4.0), 2.0, [(8.0, 9.0)], {}, (*ALWAYS, "output_below_stated_load")),
        (drivers_of(4.0), 2.0, [(2.0, 9.0)], {}, ALWAYS),
        # 9 V at 1 ohm, 6 V at 4 ohm.
        (drivers_of(4.0), 2.0, [(1.0, 81.0), (4.0, 9.0)], {}, (*ALWAYS, "stated_outputs_disagree")),
        (drivers_of(4.0, limit=8.0), 2.0, [(4.0, 9.0)], {}, (*ALWAYS, "driver_overload")),
    ],
)  # fmt: skip
def test_cautions_are_those_of_the_case(drivers, least, outputs, changes, expected):
    match = match_of(drivers, least, *outputs, **changes)
    assert match.cautions == expected
    keys = [each.source for each in match.provenances]
    assert keys == ["circuit_laws", "iec_60268_5", "common_practice"] + ["iec_60268_3"] * bool(
        outputs
    )


# --- the request ---


def test_drivers_alike_stand_side_by_side_and_keep_the_letter_of_their_entry():
    four, eight = drivers_of(4.0), drivers_of(8.0, coils=2, limit=100.0)
    stated = replace(eight[0], coil_dc_resistance_ohm=6.0)
    request = LoadMatchRequest(
        drivers=(*four, stated, replace(four[0], quantity=2)), least_load_impedance_ohm=2.0
    )
    sorts, drivers = drivers_by_sort(request)
    assert sorts == (DriverSort(3, 1), DriverSort(1, 2))
    assert [(one.name, one.entry, one.coils) for one in drivers] == [
        ("A1", 0, (0,)), ("C1", 2, (1,)), ("C2", 2, (2,)), ("B1", 1, (3, 4))
    ]  # fmt: skip
    coils = coils_of(drivers)
    assert [coil.name for coil in coils] == ["A1", "C1", "C2", "B1a", "B1b"]
    # 0.7 and 0.9 of 4 ohm where none is stated, else 6 ohm within a tenth; half of 100 W each.
    assert coils[0][1:] == (4.0, pytest.approx(2.8), pytest.approx(3.6), None)
    assert coils[4][1:] == (8.0, pytest.approx(5.4), pytest.approx(6.6), 50.0)


@pytest.mark.parametrize("other", [drivers_of(4.1), drivers_of(4.0, coils=2),
                                   drivers_of(4.0, limit=9.0)])  # fmt: skip
def test_drivers_that_differ_in_anything_are_of_two_sorts(other):
    request = LoadMatchRequest(drivers=(*drivers_of(4.0), *other), least_load_impedance_ohm=2.0)
    assert len(drivers_by_sort(request)[0]) == 2


def test_least_load_of_a_bridged_pair_is_stated_or_twice_that_of_a_channel():
    request = LoadMatchRequest(drivers=drivers_of(4.0), least_load_impedance_ohm=2.0)
    assert least_load_of_request_ohm(request) == 2.0
    assert least_load_of_request_ohm(replace(request, bridged=True)) == 4.0
    stated = replace(request, least_bridged_load_impedance_ohm=3.0)
    assert least_load_of_request_ohm(stated) == 2.0
    assert least_load_of_request_ohm(replace(stated, bridged=True)) == 3.0


def request_with(field, value):
    request = LoadMatchRequest(
        drivers=drivers_of(4.0, 8.0),
        least_load_impedance_ohm=2.0,
        outputs=(StatedOutput(4.0, 100.0), StatedOutput(2.0, 150.0)),
    )
    if "/" not in field:
        return replace(request, **{field: value})
    of, place, name = field.split("/")
    entries = list(getattr(request, of))
    entry = entries[int(place)]
    changed = {name: value}
    entries[int(place)] = (
        entry._replace(**changed) if isinstance(entry, StatedOutput) else replace(entry, **changed)
    )
    return replace(request, **{of: tuple(entries)})


@pytest.mark.parametrize(
    ("field", "least", "greatest", "step"),
    [
        ("drivers/1/quantity", 1, 8, 1),
        ("drivers/1/coils", 1, 4, 1),
        ("drivers/1/coil_impedance_ohm", 0.1, 1000.0, 0.001),
        ("drivers/1/coil_dc_resistance_ohm", 0.01, 1000.0, 0.001),
        ("drivers/1/power_limit_w", 0.1, 1e6, 0.001),
        ("outputs/1/load_impedance_ohm", 0.1, 1000.0, 0.001),
        ("outputs/1/power_w", 0.1, 1e6, 0.001),
        ("least_load_impedance_ohm", 0.1, 1000.0, 0.001),
        ("least_bridged_load_impedance_ohm", 0.1, 1000.0, 0.001),
        ("channels", 1, 64, 1),
    ],
)
def test_ends_of_each_range_are_taken_and_what_lies_beyond_is_refused(field, least, greatest, step):
    check_load_match_request(request_with(field, least))
    check_load_match_request(request_with(field, greatest))
    for value in (least - step, greatest + step):
        with pytest.raises(EngineeringError) as caught:
            check_load_match_request(request_with(field, value))
        assert (caught.value.code, caught.value.field) == ("out_of_range", field)
        assert caught.value.attributes == {"value": value, "least": least, "greatest": greatest}


def test_as_many_entries_as_letters_are_taken():
    request = LoadMatchRequest(drivers=drivers_of(4.0) * 26, least_load_impedance_ohm=2.0)
    check_load_match_request(request)
    for drivers in ((), drivers_of(4.0) * 27):
        with pytest.raises(EngineeringError) as caught:
            check_load_match_request(replace(request, drivers=drivers))
        assert (caught.value.code, caught.value.field) == ("out_of_range", "drivers")
