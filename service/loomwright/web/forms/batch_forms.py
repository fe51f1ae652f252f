"""The forms of the rows of a batch, which are written as they come."""

from loomwright.web.forms.form import Form
from loomwright.web.forms.shared_forms import JSON

NDJSON = Form(
    "ndjson",
    "application/x-ndjson",
    "A line of JSON for each row, as the rows of the JSON answer, and a last one with `summary`.",
)
BATCH_FORMS = (
    JSON,
    NDJSON,
    Form(
        "csv",
        "text/csv",
        "A line for each row, circuits as JSON text in one cell. It has no place for the summary.",
        parameters="; charset=utf-8; header=present",
    ),
    Form(
        "arrow",
        "application/vnd.apache.arrow.stream",
        "An Arrow IPC stream of record batches, the summary as JSON text under `summary` in the "
        "metadata of a last batch without rows.",
        is_binary=True,
    ),
)
