"""The request examples that stand beside the OpenAPI file are answered."""

import json
from pathlib import Path

import pytest

from loomwright.jobs.demo_library import demo_job
from loomwright.web.app import create_app
from loomwright.web.operations import OPERATIONS

FOLDER = Path(__file__).parents[2] / "openapi" / "examples"
NAMES = [operation.name for operation in OPERATIONS if operation.request is not None]


def test_each_operation_has_one_example() -> None:
    assert sorted(path.stem for path in FOLDER.glob("*.json")) == sorted(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_an_example_is_answered(name: str) -> None:
    body = json.loads((FOLDER / f"{name}.json").read_text("utf-8"))
    wish = {"Accept": "application/json"}
    response = create_app().test_client().post(f"/v1/{name}", json=body, headers=wish)
    assert response.status_code == 200, response.get_data(as_text=True)
    answer = response.get_json()
    if name.startswith("draw-"):
        assert answer["svg"].startswith("<svg ")
        return
    # Of a batch every row has its own.
    (verdict,) = answer["summary"]["verdicts"] if "summary" in answer else [answer["verdict"]]
    # An impossible claim is what the estimate is asked about most.
    assert verdict in (
        "conductor_found",
        "fuse_found",
        "impossible",
        "wiring_found",
        "supply_insufficient",
        "complete",
        "usable",
        "pass",
        "devices_needed",
        "solved",
    )


def test_the_example_of_a_bill_is_a_demo_job() -> None:
    body = json.loads((FOLDER / "build-bill-of-materials.json").read_text("utf-8"))
    assert body == {"job": demo_job("hybrid_jump_start")}
