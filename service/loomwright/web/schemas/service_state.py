"""What the service says of itself: its state, and its table of problem codes."""

from marshmallow import Schema, fields


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


class LiveAnswer(Schema):
    """State of the process."""

    status = fields.String(required=True, metadata={"enum": ["live"]})


class ReadyAnswer(Schema):
    """State of what requests rest on."""

    status = fields.String(required=True, metadata={"enum": ["ready"]})
    engine_version = fields.String(required=True)
