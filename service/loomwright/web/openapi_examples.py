"""Examples of the OpenAPI document, as they were recorded from the running service.

``tests/recording.py`` writes the record, and a test holds it to what the service answers.
"""

import json
from functools import cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("recorded_examples.json")


@cache
def _record() -> dict[str, Any]:
    # The recording itself starts a service before there is a record.
    if not FILE.exists():
        return {"answers": {}, "problems": [], "lines": {}}
    record: dict[str, Any] = json.loads(FILE.read_text("utf-8"))
    return record


def answer_examples(operation: str, media_type: str) -> dict[str, Any]:
    """Return the ``examples`` of one form of an answer, which are the same for each method.

    Parameters
    ----------
    operation
        Name of the operation.
    media_type
        Of the form.

    Returns
    -------
    dict
        References to components by name of the example; empty where none was recorded.
    """
    return {
        name: {"$ref": f"#/components/examples/{_answer_component(operation, media_type, name)}"}
        for name in _record()["answers"].get(operation, {}).get(media_type, {})
    }


def example_components() -> dict[str, Any]:
    """Return everything recorded as example objects by name of their component."""
    answers = {
        _answer_component(operation, media_type, name): {"value": value}
        for operation, forms in _record()["answers"].items()
        for media_type, named in forms.items()
        for name, value in named.items()
    }
    problems = {_component(entry): {"value": entry["value"]} for entry in _record()["problems"]}
    return answers | problems


def problem_examples(operation: str, method: str, status: int) -> dict[str, Any]:
    """Return the ``examples`` of the problems that an operation answers with a status.

    Parameters
    ----------
    operation
        Name of the operation.
    method
        In small letters.
    status
        HTTP status.

    Returns
    -------
    dict
        References to components by code.
    """
    return {
        entry["code"]: {"$ref": f"#/components/examples/{_component(entry)}"}
        for entry in _record()["problems"]
        if entry["value"]["status"] == status
        and (entry["operation"], entry["method"]) in ((operation, method), (None, None))
    }


def problem_component(code: str) -> str:
    """Return the component of a recorded problem with a code; empty before the first recording."""
    for entry in _record()["problems"]:
        if entry["code"] == code:
            return _component(entry)
    return ""


def line_examples(media_type: str) -> dict[str, Any]:
    """Return the ``examples`` of an invalid request that is answered as one line.

    Parameters
    ----------
    media_type
        Of the form.

    Returns
    -------
    dict
        Example objects of OpenAPI by code.
    """
    line = _record()["lines"].get(media_type)
    return {} if line is None else {"invalid_request": {"value": line}}


def _component(entry: dict[str, Any]) -> str:
    parts = [entry["operation"], entry["method"]] if entry["operation"] else []
    return "_".join(["problem", entry["code"], *parts]).replace("-", "_")


def _answer_component(operation: str, media_type: str, name: str) -> str:
    # The name of a component has no plus sign, as that of image/svg+xml has.
    form = media_type.rpartition("/")[2].replace("+", "_")
    return f"answer_{operation}_{form}_{name}".replace("-", "_")
