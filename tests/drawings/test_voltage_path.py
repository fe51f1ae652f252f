"""The voltage path: stations against the solved network, sums, and what has no operating point."""

import copy

import pytest
from chart_reader import assert_sound

import recording
from drawn_requests import answer_of
from loomwright.drawings.voltage_path import voltage_path_drawing
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.plan.sized_plan import sized_plan
from loomwright.jobs.voltage_path import lowest_circuit, voltage_path
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.stated_jobs import stated_job


def plan_of(document, name="recommended"):
    return sized_plan(name, stated_job(document), tables(), fuse_tables())


def chart_of(document, **more):
    response = answer_of("draw-voltage-path", {"job": document, **more})
    assert response.status_code == 200, response.get_data(as_text=True)
    return assert_sound(response.get_data(as_text=True))


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_path_is_that_of_the_solved_network(name):
    document = demo_job(name)
    plan = plan_of(document)
    job = plan.consistent.job
    assert plan.solved.circuits
    for key, state in plan.solved.circuits.items():
        path = voltage_path(job, plan.solved, key)
        assert path.plus_v == pytest.approx(state.load_voltage_v + state.ground_potential_v)
        assert path.minus_v == pytest.approx(state.ground_potential_v, abs=1e-9)
        assert path.load_v == pytest.approx(state.load_voltage_v)
        # Kirchhoff: what is lost and what the load has are the electromotive force.
        lost = sum(step.drop_v for step in (*path.feed, *path.back))
        assert lost + path.load_v == pytest.approx(path.emf_v)
        assert path.back[-1].end_voltage_v == pytest.approx(0.0, abs=1e-9)
        for step in (*path.feed, *path.back):
            assert step.drop_v >= -1e-9
    assert lowest_circuit(plan.solved) == min(
        plan.solved.network.loads, key=lambda key: plan.solved.circuits[key].load_voltage_v
    )


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_nodes_stand_at_their_voltages(name):
    document = demo_job(name)
    plan = plan_of(document)
    path = voltage_path(plan.consistent.job, plan.solved, lowest_circuit(plan.solved))
    chart = chart_of(document)
    for way, start, steps in (
        ("feed", path.emf_v, path.feed),
        ("return", path.minus_v, path.back),
    ):
        axis = chart.upwards(log=False, ticks=f"{way}_ticks")
        expected = [start, *(step.end_voltage_v for step in steps)]
        seen = [axis.value(y) for _, y in chart.points(f"{way}_voltage")]
        assert len(seen) == len(expected)
        tolerance = 0.012 * abs(axis.value(0.0) - axis.value(1.0))
        assert seen == pytest.approx(expected, abs=tolerance)
        for place, point in enumerate(chart.points(f"{way}_voltage")):
            assert chart.dot(f"{way}_{place}") == point


def test_drops_are_told_in_millivolts():
    """20 A over 0.1 mohm of a lug, 0.6 mohm of a fuse in its holder and 1 mohm of chassis."""
    document = demo_job("combustion_car")
    document["circuits"][0]["joint_resistance"] = 0.001
    chart = chart_of(document)
    assert chart.words.count("2 mV") == 2
    assert "12 mV" in chart.words
    assert "20 mV" in chart.words
    assert "first lug 2 mV, fuse 30 A 12 mV" in chart.description
    assert "lugs 4 mV, chassis 20 mV" in chart.description


def test_return_by_conductor_goes_back_along_the_feeder():
    plan = plan_of(demo_job("truck_24v"))
    path = voltage_path(plan.consistent.job, plan.solved, "work_light_feed")
    assert [step.circuit for step in path.back] == ["work_light_feed"] * 2 + ["cab_main"] * 2
    main, branch = (plan.solved.circuits[key] for key in ("cab_main", "work_light_feed"))
    assert path.back[0].end_voltage_v > main.ground_potential_v
    assert path.back[1].end_voltage_v == pytest.approx(main.ground_potential_v)
    # The feeder carries what its branches take together, so it loses more than this one alone.
    assert main.current_a > branch.current_a


@pytest.mark.parametrize("circuit", ["charger_input", "refrigerator_feed", "inverter_feed"])
def test_any_circuit_can_be_asked_for(circuit):
    chart = chart_of(demo_job("van_second_battery"), circuit=circuit)
    assert f"along circuit {circuit} of the plan recommended" in chart.description


def test_plans_differ():
    job = demo_job("combustion_car")
    drawn = {name: chart_of(job, plan=name).svg for name in ("leanest", "recommended", "headroom")}
    assert len(set(drawn.values())) == 3
    assert chart_of(job).svg == drawn["recommended"]


def test_deep_chain_still_fits():
    """A chain of thirty blocks, each feeding the next one: more stations than can be read."""
    document = demo_job("van_second_battery")
    main = next(item for item in document["circuits"] if item["key"] == "service_main")
    feeds = [main]
    for place in range(30):
        link = copy.deepcopy(main)
        link["key"], link["fed_from"] = f"link_{place}", feeds[-1]["key"]
        link["description"] = f"Link {place}"
        link["route"] = [{**main["route"][0], "length": 0.2}]
        link["allowed_voltage_drop_percent"] = 0.1
        feeds.append(link)
    place = document["circuits"].index(main)
    document["circuits"][place : place + 1] = feeds
    for item in document["circuits"]:
        if item["fed_from"] == "service_main" and item["key"] not in {f["key"] for f in feeds}:
            item["fed_from"] = "link_29"
    plan = plan_of(document)
    key = "light_feed"
    drawing = voltage_path_drawing(plan, key)
    chart = assert_sound(drawing.svg)
    path = voltage_path(plan.consistent.job, plan.solved, key)
    assert (path is None) == ("not known" in chart.title)
    if path is not None:
        assert len(path.feed) == 1 + 4 * 32
        assert len(chart.points("feed_voltage")) < 30
        axis = chart.upwards(log=False, ticks="feed_ticks")
        assert axis.value(chart.points("feed_voltage")[-1][1]) == pytest.approx(
            path.plus_v, abs=0.01
        )


def test_network_without_an_operating_point_is_told():
    chart = chart_of(recording._starved_job())
    assert "no operating point" in chart.description
    assert "12.6 V" in chart.description
    assert chart.has("source_voltage")


def test_circuit_without_a_conductor_is_told():
    document = recording._far_job()
    chart = chart_of(document, circuit=document["circuits"][0]["key"])
    assert "No conductor of its series serves this circuit" in chart.description
