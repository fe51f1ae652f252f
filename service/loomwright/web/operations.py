"""The list of operations: what the service offers and the OpenAPI document describes."""

from marshmallow import Schema, fields

from loomwright.web.openapi import DocumentSchema, Operation
from loomwright.web.schemas.bill import (
    REQUEST,
    BuildBillOfMaterialsAnswer,
    request_components,
    request_examples,
)
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
    ),
    Operation(
        "size-fuse",
        "Choose the fuse of a circuit in every wanted type, or check a given one.",
        "engineering",
        SizeFuseRequest,
        SizeFuseAnswer,
        with_query=True,
    ),
    Operation(
        "estimate-real-output",
        "Estimate what an amplifier can really put out, against its claim, and what it draws.",
        "engineering",
        EstimateRealOutputRequest,
        EstimateRealOutputAnswer,
        with_query=True,
    ),
    Operation(
        "build-bill-of-materials",
        "Size a job's circuits and price everything it needs, with the reason for each line.",
        "pricing",
        DocumentSchema(REQUEST.name, request_components, request_examples),
        BuildBillOfMaterialsAnswer,
    ),
    Operation(
        "price-books",
        "List the price books that the operator mounted, without any price.",
        "pricing",
        None,
        PriceBooksAnswer,
    ),
    Operation(
        "check-price-book",
        "Find what is wrong with a price book, what it lacks for given jobs, and what looks odd.",
        "pricing",
        DocumentSchema(CHECK.name, check_components, check_examples),
        CheckPriceBookAnswer,
    ),
    Operation(
        "health",
        "Tell whether the service is ready.",
        "service",
        None,
        HealthAnswer,
    ),
    Operation(
        "problems",
        "List the problem codes, as JSON or as a page.",
        "service",
        None,
        ProblemsAnswer,
        statuses=(406,),
    ),
)
