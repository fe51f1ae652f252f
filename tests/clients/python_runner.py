"""Make every call with the generated Python client: ``python_runner.py ADDRESS CALLS``.

The folder of the generated package is on the path. ``CALLS`` is a file of JSON; a line of JSON is
printed for each. Arguments are made by the types that the generated functions state.
"""

import enum
import importlib
import json
import sys
import types
import typing
from pathlib import Path
from typing import Any

PACKAGE = "loomwright_client"


def argument(annotation: Any, value: Any) -> Any:
    """Return a value in the type that a parameter of a generated function has."""
    forms = typing.get_args(annotation) if _is_union(annotation) else (annotation,)
    for form in forms:
        if isinstance(form, type) and issubclass(form, enum.Enum):
            return form(value)
        if typing.get_origin(form) is list:
            (entry,) = typing.get_args(form)
            return [argument(entry, each) for each in value]
        if hasattr(form, "from_dict") and isinstance(value, dict):
            return form.from_dict(value)
    return value


def _is_union(annotation: Any) -> bool:
    return typing.get_origin(annotation) in (typing.Union, types.UnionType)


def made(client: Any, call: dict[str, Any]) -> dict[str, Any]:
    """Return name, status and typed answer of one call."""
    module = importlib.import_module(f"{PACKAGE}.api.{call['tag']}.{call['operation_id']}")
    function = module.sync_detailed
    hints = typing.get_type_hints(function)
    if call["method"] == "post":
        given = {"body": argument(hints["body"], call["sent"])}
    else:
        given = {name: argument(hints[name], value) for name, value in call["sent"].items()}
    response = function(client=client, **given)
    answer = None if response.parsed is None else response.parsed.to_dict()
    return {"name": call["name"], "status": int(response.status_code), "answer": answer}


def main(address: str, calls: str) -> None:
    """Make the calls and print what came of them."""
    # Without a wish a batch comes as lines.
    client = importlib.import_module(PACKAGE).Client(
        base_url=address,
        headers={"Accept": "application/json"},
        raise_on_unexpected_status=True,
        timeout=60,
    )
    for call in json.loads(Path(calls).read_text("utf-8")):
        print(json.dumps(made(client, call)))


if __name__ == "__main__":
    main(*sys.argv[1:])
