"""One plan made by itself is the plan that the answer of all three has under its name."""

import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_installations import jobs
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.plan import plan as plan_module
from loomwright.jobs.plan.alternatives import PLAN_NAMES
from loomwright.jobs.plan.document import plans_document
from loomwright.jobs.plan.one_plan import one_plan_document
from loomwright.jobs.plan.plan import installation_plan, installation_plans
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.stated_jobs import stated_job

# Members that both documents have, by the same name.
SHARED = ("verdict", "power_sources", "circuits", "real_output", "supply", "expected_measurements")


def plain(document):
    return orjson.loads(orjson.dumps(document, option=orjson.OPT_SERIALIZE_NUMPY))


def both(job, name):
    """The plan of that name in the answer of all, and the document of it alone."""
    known = job, demo_book(), tables(), fuse_tables()
    answer = plain(plans_document(installation_plans(*known)))
    (among,) = [plan for plan in answer["plans"] if plan["name"] == name]
    return among, plain(one_plan_document(job, installation_plan(name, *known))), answer


def assert_same_plan(job, name):
    among, alone, answer = both(job, name)
    assert alone["plan"] == {"name": name, "purpose": among["purpose"]}
    for member in SHARED:
        assert alone[member] == among[member], member
    bill = among["bill"]
    for member in bill.keys() - {"lines", "unpriced"}:
        assert alone[member] == bill[member], member
    for member in ("lines", "unpriced"):
        shared = [
            {key: line[key] for key in known}
            for line, known in zip(alone[member], bill[member], strict=True)
        ]
        assert shared == bill[member]
    order = among["work_order"]
    assert [step["key"] for step in alone["work_order"]["steps"]] == order["order"]
    stated = {step["key"]: step for step in order["steps"]}
    for step in alone["work_order"]["steps"]:
        if step["key"] in stated:
            for member in ("text", "checks", "cautions", "hours", "torques", "needs"):
                assert step[member] == stated[step["key"]][member]
    known = {entry["key"] for entry in alone["cautions"]}
    assert {key for step in alone["work_order"]["steps"] for key in step["cautions"]} <= known
    assert alone["currency"] == answer["currency"]
    assert "cost" not in alone


@pytest.mark.parametrize("name", PLAN_NAMES)
@pytest.mark.parametrize("demo", DEMO_JOBS)
def test_plan_of_a_demo_job(demo, name):
    assert_same_plan(stated_job(demo_job(demo)), name)


@settings(max_examples=25)
@given(jobs(), st.sampled_from(PLAN_NAMES))
def test_plan_of_a_drawn_job(document, name):
    assert_same_plan(job_from_document(document, tables(), fuse_tables().types), name)


def test_the_recommended_plan_takes_the_place_of_a_dearer_leanest(monkeypatch):
    monkeypatch.setattr(plan_module, "_costs_more", lambda plan, other: plan.name != other.name)
    job = stated_job(demo_job(DEMO_JOBS[0]))
    known = job, demo_book(), tables(), fuse_tables()
    lean, recommended = (installation_plan(name, *known) for name in PLAN_NAMES[:2])
    assert (lean.name, recommended.name) == PLAN_NAMES[:2]
    assert (
        plain(one_plan_document(job, lean))["lines"]
        == (plain(one_plan_document(job, recommended))["lines"])
    )


@pytest.mark.parametrize(("name", "made"), [("leanest", 2), ("recommended", 1), ("headroom", 1)])
def test_no_plan_is_made_that_is_not_needed(monkeypatch, name, made):
    sized = []

    def counted(which, *arguments):
        sized.append(which)
        return plan_module_sized(which, *arguments)

    plan_module_sized = plan_module.sized_plan
    monkeypatch.setattr(plan_module, "sized_plan", counted)
    job = stated_job(demo_job(DEMO_JOBS[0]))
    installation_plan(name, job, demo_book(), tables(), fuse_tables())
    assert len(sized) == made
