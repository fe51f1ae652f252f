"""The application factory."""

from flask import Flask, Response

from loomwright.tables.load import tables
from loomwright.web import bill, conductor, fuse, output
from loomwright.web.answers import ENGINE_VERSION, json_response
from loomwright.web.openapi import openapi_document
from loomwright.web.operations import OPERATIONS
from loomwright.web.problems import register_problems
from loomwright.web.requests import GREATEST_BODY_BYTES


def create_app() -> Flask:
    """Return the service as a WSGI application.

    Returns
    -------
    Flask
        With all tables loaded, so that a broken table stops the start and not a request.
    """
    app = Flask("loomwright", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = GREATEST_BODY_BYTES
    tables()
    register_problems(app)
    for module in (conductor, fuse, output, bill):
        app.register_blueprint(module.blueprint, url_prefix="/v1")

    @app.get("/v1/health")
    def health() -> Response:
        return json_response({"status": "ready", "engine_version": ENGINE_VERSION})

    @app.get("/v1/openapi.json")
    def openapi() -> Response:
        return json_response(openapi_document(OPERATIONS))

    return app
