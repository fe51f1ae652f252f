"""Marshmallow schemas, one module per subject: requests, and answers for the OpenAPI document."""
