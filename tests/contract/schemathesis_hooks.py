"""What schemathesis draws jobs and batches without, and how it sends records.

``signal`` and ``supply`` of a job are the components that plan-signal-path and assess-supply take,
and the price books of a batch are those of a bill. Drawn once more inside each of the operations
that take a job or a package they would multiply the time of a drawing by ten and find nothing new;
the examples of the document keep them.
"""

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
    """Take the members out of the component of a job."""
    del context
    for component, names in ON_TRIAL_ELSEWHERE.items():
        members = raw_schema["components"]["schemas"][component]["properties"]
        for name in names:
            # A document may be loaded by several tests of one process.
            members.pop(name, None)


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
