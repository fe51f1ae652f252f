"""The HTTP service: schemas, problems, blueprints and the OpenAPI document."""
