"""What schemathesis draws a job without, and how it reads answers that are no one JSON document.

``signal`` and ``supply`` of a job are the components that plan-signal-path and assess-supply take.
Drawn once more inside each of the operations that take a job or a package they would multiply the
time of a drawing by ten and find nothing new; the examples of the document keep them.
"""

from typing import Any

import schemathesis

ON_TRIAL_ELSEWHERE = ("signal", "supply")
JOBS = ("Job", "PackageJob")


@schemathesis.hook
def before_load_schema(context: Any, raw_schema: dict[str, Any]) -> None:
    """Take the members out of the component of a job."""
    del context
    for job in JOBS:
        members = raw_schema["components"]["schemas"][job]["properties"]
        for name in ON_TRIAL_ELSEWHERE:
            # A document may be loaded by several tests of one process.
            members.pop(name, None)
