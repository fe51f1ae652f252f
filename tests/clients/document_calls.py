"""The calls that generated clients make: every example of the OpenAPI document, with its answer."""

import json
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from typing import Any

import yaml

from loomwright.pricing.members import INSTANT_PATTERN
from node import ROOT

DOCUMENT = ROOT / "openapi" / "loomwright.yaml"
JSON = "application/json"
INSTANT = re.compile(INSTANT_PATTERN, re.ASCII)
# Asked for by the query parameter ``as``.
NAMES_OF_FORMS = {"text/plain": "text", "text/csv": "csv", "application/xml": "xml"}
# Accepted by the schema and refused by the service: one for each client, to see a problem typed.
REFUSED = {"ambient_temperature": 120}
REFUSED_CODE = "ambient_not_below_rating"


@dataclass(frozen=True)
class Call:
    """One call: its name, operation, method and path, what is sent, and the recorded answer.

    ``sent`` is a body, or the query of GET. ``answer`` is none where only the status was recorded;
    text is the answer in another form than JSON.
    """

    name: str
    operation_id: str
    method: str
    path: str
    tag: str
    sent: dict[str, Any]
    answer: Any
    status: int = 200

    @property
    def body_schema(self) -> str:
        """Name of the component that the body of a POST is described by."""
        described = document()["paths"][self.path][self.method]
        reference: str = described["requestBody"]["content"][JSON]["schema"]["$ref"]
        return reference.rpartition("/")[2]

    @property
    def answer_schema(self) -> str:
        """Name of the component that the answer in JSON is described by."""
        described = document()["paths"][self.path][self.method]
        reference: str = described["responses"]["200"]["content"][JSON]["schema"]["$ref"]
        return reference.rpartition("/")[2]


@cache
def document() -> dict[str, Any]:
    """Return the committed document."""
    loaded: dict[str, Any] = yaml.safe_load(DOCUMENT.read_text("utf-8"))
    return loaded


def _recorded(described: dict[str, Any], media_type: str) -> dict[str, Any]:
    """Return the recorded answers by name of the example."""
    examples = described["responses"]["200"]["content"][media_type]["examples"]
    components = document()["components"]["examples"]
    return {
        name: components[example["$ref"].rpartition("/")[2]]["value"]
        for name, example in examples.items()
    }


def _query(described: dict[str, Any]) -> dict[str, Any]:
    """Return the query that the examples of the parameters make."""
    found = {}
    for parameter in described.get("parameters", ()):
        place = parameter.get("content", {}).get(JSON, parameter)
        if "example" in place:
            found[parameter["name"]] = place["example"]
    return found


def calls() -> list[Call]:
    """Return a call for each example of each operation and method, in JSON."""
    found = []
    for path, methods in document()["paths"].items():
        for method, described in methods.items():
            operation_id, tag = described["operationId"], described["tags"][0]
            if operation_id == "ready":
                # The service of the clients has a faulty price book on purpose.
                continue
            answers = _recorded(described, JSON)
            if method == "post":
                examples = described["requestBody"]["content"][JSON]["examples"]
                sent = {name: example["value"] for name, example in examples.items()}
            else:
                sent = {next(iter(answers)): _query(described)}
            found += [
                Call(name, operation_id, method, path, tag, body, answers.get(name))
                for name, body in sent.items()
            ]
    return found


def json_parameters(call: Call, *, required: bool = False) -> set[str]:
    """Return the query parameters of a call whose text is JSON: all, or those it must have."""
    described = document()["paths"][call.path][call.method]
    return {
        parameter["name"]
        for parameter in described.get("parameters", ())
        if "content" in parameter and (parameter.get("required", False) or not required)
    }


def without_json_parameters(made: list[Call]) -> list[Call]:
    """Return calls as clients make them that know no query parameter of JSON text.

    Without it the answer is another one, of which only the status is looked at. A call that must
    have one is left out: such a client has the same operation by POST.
    """
    found = []
    for call in made:
        if json_parameters(call, required=True):
            continue
        left = {name: call.sent[name] for name in call.sent if name not in json_parameters(call)}
        answer = call.answer if len(left) == len(call.sent) else None
        found.append(replace(call, sent=left, answer=answer))
    return found


def with_json_texts(made: list[Call]) -> list[Call]:
    """Return calls with the text of JSON in place of each list in a query."""
    found = []
    for call in made:
        texts = {
            name: json.dumps(call.sent[name]) for name in json_parameters(call) & set(call.sent)
        }
        found.append(replace(call, sent=call.sent | texts))
    return found


def form_calls() -> list[Call]:
    """Return a call for each form of each calculator by query but JSON."""
    found = []
    for call in calls():
        described = document()["paths"][call.path][call.method]
        for media_type in described["responses"]["200"]["content"]:
            # The page of codes has no other way to be asked for than by a browser.
            if call.method == "get" and media_type in NAMES_OF_FORMS:
                form = NAMES_OF_FORMS[media_type]
                (answer,) = _recorded(described, media_type).values()
                sent = call.sent | {"as": form}
                name = f"{call.name} as {form}"
                found.append(
                    Call(name, call.operation_id, "get", call.path, call.tag, sent, answer)
                )
    return found


def refused_call() -> Call:
    """Return a call that the document allows and the service refuses."""
    first = next(call for call in calls() if call.operation_id == "size_conductor")
    sent = first.sent | REFUSED
    return Call("refused", first.operation_id, "post", first.path, first.tag, sent, None, 422)


def faults_of(made: list[Call], output: str) -> list[str]:
    """Return what differs between the calls and what a client printed of them.

    Parameters
    ----------
    made
        The calls, in order.
    output
        Lines of JSON, one for each call: name, status and answer.

    Returns
    -------
    list of str
        Empty if all is as recorded.
    """
    lines = [json.loads(line) for line in output.splitlines()]
    faults = []
    if [line["name"] for line in lines] != [call.name for call in made]:
        faults.append("not every call was made")
    for call, line in zip(made, lines, strict=False):
        if line["status"] != call.status:
            faults.append(f"{call.operation_id} {call.name}: {str(line)[:500]}")
        elif call.status != 200:
            if line["answer"]["code"] != REFUSED_CODE:
                faults.append(f"{call.operation_id} {call.name}: {line['answer']['code']}")
        elif call.answer is not None and _same_instants(line["answer"]) != _same_instants(
            call.answer
        ):
            faults.append(f"{call.operation_id} {call.name}: another answer than recorded")
        elif not line["answer"]:
            faults.append(f"{call.operation_id} {call.name}: no answer")
    return faults


def _same_instants(value: Any) -> Any:
    """Return a value with each time in UTC, as clients write one with an offset of their own."""
    if isinstance(value, dict):
        return {name: _same_instants(member) for name, member in value.items()}
    if isinstance(value, list):
        return [_same_instants(entry) for entry in value]
    if isinstance(value, str) and INSTANT.fullmatch(value):
        return datetime.fromisoformat(value).astimezone(UTC).isoformat()
    return value
