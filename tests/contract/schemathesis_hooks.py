"""What schemathesis does not draw in jobs and batches, and how it sends records.

``signal`` and ``supply`` of a job are the components that plan-signal-path and assess-supply take,
and the price books of a batch are those of a bill. Drawn once more inside each of the operations
that take a job or a package they would multiply the time of a drawing by ten and find nothing new.
A job is drawn with those that the examples of the document have, or without. Were they taken out of
the component, no example that has one would be right any more, and schemathesis would pass over it
without a word.
"""

from collections.abc import Iterator
from typing import Any

import schemathesis
from schemathesis.transport.serialization import Binary, serialize_binary

ON_TRIAL_ELSEWHERE = {
    "Job": ("signal", "supply"),
    "PackageJob": ("signal", "supply"),
    "PricePackagesRequest": ("price_book", "price_book_csv"),
}


@schemathesis.hook
def before_load_schema(context: Any, raw_schema: dict[str, Any]) -> None:
    """Let the members be as an example has them, or take them out where none has one."""
    del context
    examples = list(_objects(raw_schema["paths"]))
    for component, names in ON_TRIAL_ELSEWHERE.items():
        schema = raw_schema["components"]["schemas"][component]
        alike = [each for each in examples if each.keys() >= set(schema["required"])]
        for name in names:
            shown: list[Any] = []
            for each in alike:
                if name in each and each[name] not in shown:
                    shown.append(each[name])
            # A document may be loaded by several tests of one process.
            schema["properties"].pop(name, None)
            if shown:
                schema["properties"][name] = {"enum": shown}


def _objects(node: Any) -> Iterator[dict[str, Any]]:
    """Yield every JSON object in a value, itself included."""
    if isinstance(node, dict):
        yield node
    if isinstance(node, dict | list):
        for child in node.values() if isinstance(node, dict) else node:
            yield from _objects(child)


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    """Ask for the status of errors also where a whole query was changed into a wrong one.

    ``schemathesis.toml`` says so for each parameter by itself, and why.
    """
    del context, kwargs
    if case.query and case.query.get("errors") == "text":
        case.query["errors"] = "status"


@schemathesis.serializer("application/x-ndjson", "application/vnd.apache.arrow.stream")
def as_it_is(context: Any, value: Any) -> bytes:
    """Return what was drawn for a body that is text or bytes to the document."""
    del context
    if isinstance(value, str) and not isinstance(value, Binary):
        return value.encode("utf-8", "surrogatepass")
    return serialize_binary(value)
