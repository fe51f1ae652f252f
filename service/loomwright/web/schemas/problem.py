"""The problem document (RFC 9457)."""

from marshmallow import Schema, fields

from loomwright.web.problem_codes import CODES


class ProblemErrorSchema(Schema):
    """One fault of a request."""

    pointer = fields.String(required=True, metadata={"description": "JSON pointer to the field."})
    message = fields.String(required=True)


class ProblemSchema(Schema):
    """A problem document (RFC 9457)."""

    type = fields.String(required=True)
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    code = fields.String(required=True, metadata={"enum": sorted(CODES)})
    detail = fields.String(required=True)
    action = fields.String(required=True, metadata={"description": "What the caller can do."})
    errors = fields.List(fields.Nested(ProblemErrorSchema), required=True)
