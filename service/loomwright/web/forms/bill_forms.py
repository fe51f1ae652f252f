"""The forms of a bill: a table, a quotation, an entry for the calendar of a bay, a quote."""

from collections.abc import Callable
from typing import Any

from loomwright.documents.bay_booking import bay_booking
from loomwright.documents.bill_csv import bill_csv
from loomwright.documents.paperwork import Paperwork, paperwork_of_answer
from loomwright.documents.quotation import ubl_quotation
from loomwright.web.forms.document_forms import HTML, PDF
from loomwright.web.forms.form import Form
from loomwright.web.forms.shared_forms import JSON


def _of_bill(make: Callable[[dict[str, Any], Paperwork], bytes]) -> Callable[..., bytes]:
    def encode(answer: dict[str, Any]) -> bytes:
        return make(answer, paperwork_of_answer(answer))

    return encode


BILL_FORMS = (
    JSON,
    Form(
        "csv",
        "text/csv",
        "A row for each line, for what is not priced, for each tax and for the totals.",
        encode=bill_csv,
        parameters="; charset=utf-8; header=present",
    ),
    Form(
        "quotation",
        "application/xml",
        "A quotation of OASIS UBL 2.1, valid under later 2.x schemas; of a complete bill with "
        "`paperwork.seller` and `pricing.as_of`.",
        encode=_of_bill(ubl_quotation),
    ),
    Form(
        "booking",
        "text/calendar",
        "An iCalendar entry (RFC 5545) as long as the labour; of a complete bill with "
        "`paperwork.booking` and `pricing.as_of`.",
        encode=_of_bill(bay_booking),
        parameters="; charset=utf-8",
    ),
    HTML,
    PDF,
)
