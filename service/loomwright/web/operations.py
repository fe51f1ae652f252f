"""The list of operations: what the service offers and the OpenAPI document describes."""

from marshmallow import Schema, fields

from loomwright.web.openapi import Operation
from loomwright.web.schemas.conductor import SizeConductorAnswer, SizeConductorRequest


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
        "health",
        "Tell whether the service is ready.",
        "service",
        None,
        HealthAnswer,
    ),
)
