"""The list of operations: what the service offers and the OpenAPI document describes."""

from marshmallow import Schema, fields

from loomwright.web.openapi import DocumentSchema, Operation
from loomwright.web.schemas.bill import BuildBillOfMaterialsAnswer
from loomwright.web.schemas.bill_request import REQUEST, request_components, request_examples
from loomwright.web.schemas.book_check import (
    CHECK,
    CheckPriceBookAnswer,
    check_components,
    check_examples,
)
from loomwright.web.schemas.conductor import SizeConductorAnswer, SizeConductorRequest
from loomwright.web.schemas.fuse import SizeFuseRequest
from loomwright.web.schemas.fuse_answer import SizeFuseAnswer
from loomwright.web.schemas.mounted import PriceBooksAnswer
from loomwright.web.schemas.output import EstimateRealOutputAnswer, EstimateRealOutputRequest
from loomwright.web.schemas.work_order import BuildWorkOrderAnswer, order_examples


class ProblemCodeAnswer(Schema):
    """One problem code."""

    code = fields.String(required=True)
    status = fields.Integer(required=True)
    title = fields.String(required=True)
    action = fields.String(required=True, metadata={"description": "What the caller can do."})


class ProblemsAnswer(Schema):
    """The table of problem codes."""

    problems = fields.List(fields.Nested(ProblemCodeAnswer), required=True)


class HealthAnswer(Schema):
    """State of the service."""

    status = fields.String(required=True, metadata={"enum": ["ready"]})
    engine_version = fields.String(required=True)


OPERATIONS = (
    Operation(
        "size-conductor",
        "Choose the smallest conductor that meets every criterion, or check a given one.",
        "engineering",
        SizeConductorRequest,
        SizeConductorAnswer,
        with_query=True,
        description=(
            "Every size of the series is judged by voltage drop, ampacity and, where a fault "
            "current is given, by the heat of a short circuit; the first that meets all is "
            "chosen. Every candidate stands in the answer with the criterion that refused it. "
            "With `given_size` that size is judged. `explain` adds the working with formulas and "
            "sources."
        ),
    ),
    Operation(
        "size-fuse",
        "Choose the fuse of a circuit in every wanted type, or check a given one.",
        "engineering",
        SizeFuseRequest,
        SizeFuseAnswer,
        with_query=True,
        description=(
            "The permitted ratings lie between what the load needs and what the conductor bears; "
            "in each wanted type the least standard rating within them is chosen and judged by "
            "breaking capacity, rated voltage, opening time at the far end, coordination with the "
            "conductor and selectivity. `explain` adds the working."
        ),
    ),
    Operation(
        "estimate-real-output",
        "Estimate what an amplifier can really put out, against its claim, and what it draws.",
        "engineering",
        EstimateRealOutputRequest,
        EstimateRealOutputAnswer,
        with_query=True,
        description=(
            "The output is bounded by what the fuses and the supply let in, by the efficiency of "
            "the amplifier's class and by its rails; the answer sets that beside the claim, and "
            "gives the current for sizing the feed."
        ),
    ),
    Operation(
        "build-bill-of-materials",
        "Size a job's circuits and price everything it needs, with the reason for each line.",
        "pricing",
        DocumentSchema(REQUEST.name, request_components, request_examples),
        BuildBillOfMaterialsAnswer,
        description=(
            "Circuits are sized as size-conductor and size-fuse do it; parts, labour, discounts "
            "and tax follow from the rules and the price book, each line with its reason. Without "
            "a price book the demo book of the service prices it. Cost and margin need a key. The "
            "same request, price book and version give the same bytes on any day."
        ),
    ),
    Operation(
        "build-work-order",
        "Put a job's work into a safe order, with parts, hours, tools and torques for each step.",
        "pricing",
        DocumentSchema(REQUEST.name, request_components, order_examples),
        BuildWorkOrderAnswer,
        description=(
            "The job is sized and priced as build-bill-of-materials does it. What each step needs "
            "before it follows from the job: every source is isolated first, each zone is opened "
            "and closed once, a panel is protected before a conductor passes it, fuses come last. "
            "Parts and hours are those of the bill, shared over the steps to the last digit. A "
            "torque is a published one where there is one, and gives way to that of the maker. The "
            "request is that of build-bill-of-materials; paperwork and `show_cost` change nothing."
        ),
    ),
    Operation(
        "price-books",
        "List the price books that the operator mounted, without any price.",
        "pricing",
        None,
        PriceBooksAnswer,
        description=(
            "The names go into `price_book_name` of build-bill-of-materials and check-price-book."
        ),
    ),
    Operation(
        "check-price-book",
        "Find what is wrong with a price book, what it lacks for given jobs, and what looks odd.",
        "pricing",
        DocumentSchema(CHECK.name, check_components, check_examples),
        CheckPriceBookAnswer,
        description=(
            "Every fault is named by table, row and column, or by JSON pointer. With `jobs` the "
            "answer also says what the book lacks for them; with `as_of`, what is out of date on "
            "that day. Findings that tell of cost need a key where the book is a mounted one."
        ),
    ),
    Operation(
        "health",
        "Tell whether the service is ready.",
        "service",
        None,
        HealthAnswer,
        description=(
            "Answered once tables and formulas are loaded and every example has been computed; it "
            "reads nothing else."
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
