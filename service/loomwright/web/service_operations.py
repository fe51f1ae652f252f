"""The operations that tell of the service itself: probes and problem codes."""

from loomwright.web.openapi import Operation
from loomwright.web.schemas.service_state import (
    HealthAnswer,
    LiveAnswer,
    ProblemsAnswer,
    ReadyAnswer,
)

SERVICE_OPERATIONS = (
    Operation(
        "live",
        "Tell that the process answers.",
        "service",
        None,
        LiveAnswer,
        description=(
            "For whoever restarts processes that do not. It reads nothing, needs no key and counts "
            "for no limit."
        ),
        is_kept=False,
    ),
    Operation(
        "ready",
        "Tell whether what requests rest on can be used.",
        "service",
        None,
        ReadyAnswer,
        statuses=(503,),
        description=(
            "For whoever sends requests here or elsewhere. Tables are loaded, each mounted price "
            "book is without faults, and files of keys and of providers can be used; else the "
            "answer is 503 `not_ready`, and `errors` names everything at fault, `pointer` by kind. "
            "Where keys are needed, price books are numbered by name and not named. It needs no "
            "key and counts for no limit; files are looked at once a second at most."
        ),
        is_kept=False,
    ),
    Operation(
        "health",
        "Tell that tables and formulas are loaded.",
        "service",
        None,
        HealthAnswer,
        description=(
            "Answered once every example has been computed; it reads nothing else. Kept for those "
            "who ask it already: `live` and `ready` tell more."
        ),
        is_kept=False,
    ),
    Operation(
        "problems",
        "List the problem codes, as JSON or as a page.",
        "service",
        None,
        ProblemsAnswer,
        statuses=(406,),
        pages=("text/html",),
        description=(
            "Status, title and what the caller can do, for each code that a problem document can "
            "have; `type` of a problem document leads here."
        ),
    ),
)
