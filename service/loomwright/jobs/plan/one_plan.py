"""One plan of an installation in full, as plain JSON values, for the documents made of it."""

from typing import Any

from loomwright.engineering.cautions import CAUTIONS
from loomwright.jobs.answer import answer_document
from loomwright.jobs.job import Job
from loomwright.jobs.measurement_answer import readings_document
from loomwright.jobs.plan.alternatives import PURPOSES
from loomwright.jobs.plan.outputs import outputs_document
from loomwright.jobs.plan.plan import Plan
from loomwright.jobs.supply_answer import supply_document
from loomwright.jobs.work_order.document import work_order_document


def one_plan_document(job: Job, plan: Plan) -> dict[str, Any]:
    """Return one plan in full.

    Its figures are those of the plan in the answer of all three; the bill has the members that a
    bill of materials has, the work order those of a work order.

    Parameters
    ----------
    job
        The job that is planned.
    plan
        One of its plans.

    Returns
    -------
    dict
        As ``answer_document`` of the plan's bill, with the verdict of the plan, and beside it the
        plan, the equipment, real outputs, the supply, the work order and the readings to expect;
        never what the bill costs the shop.
    """
    return {
        **answer_document(plan.priced),
        "verdict": plan.verdict,
        "plan": {"name": plan.name, "purpose": PURPOSES[plan.name]},
        "equipment": [
            {
                "key": item.key,
                "description": item.description,
                "quantity": item.quantity,
                "circuit": item.circuit,
                "is_fitted": item.fitted,
            }
            for item in job.equipment
        ],
        "real_output": outputs_document(plan.outputs),
        "supply": None if plan.supply is None else supply_document(plan.supply),
        "work_order": work_order_document(plan.order, plan.priced),
        "expected_measurements": readings_document(plan.measurements),
        "cautions": [{"key": key, "text": CAUTIONS[key]} for key in plan.cautions],
    }
