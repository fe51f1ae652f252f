"""The application factory."""

import os
from functools import cache
from http import HTTPStatus
from typing import Any

from flask import Flask, Response

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.web import (
    bill,
    conductor,
    drawings,
    fuse,
    installation_drawing,
    load,
    measurement,
    network,
    output,
    plan,
    price_books,
    price_packages,
    problem_page,
    signal,
    supply,
    work_order,
)
from loomwright.web.access import register_access
from loomwright.web.described_http import OPENAPI_PATH
from loomwright.web.examples import EXAMPLES
from loomwright.web.manners import register_manners
from loomwright.web.openapi import openapi_json
from loomwright.web.operations import OPERATIONS
from loomwright.web.pages import register_pages
from loomwright.web.probes import register_probes
from loomwright.web.problems import register_problems
from loomwright.web.quota import register_quota
from loomwright.web.redaction import redact
from loomwright.web.requests import GREATEST_BODY_BYTES
from loomwright.web.schemas.batch import batch_examples
from loomwright.web.settings import JSON, Settings, keep_settings
from loomwright.web.settings_table import settings_from
from loomwright.web.signals.logs import use_json
from loomwright.web.signals.registration import readiness_watcher, register_signals


def create_app(settings: Settings | None = None) -> Flask:
    """Return the service as a WSGI application.

    Parameters
    ----------
    settings
        The operator's; those of the environment where none are given.

    Returns
    -------
    Flask
        With all tables loaded and every example answered once in this process, so that a broken
        table or formula stops the start and not a request.

    Raises
    ------
    RuntimeError
        An example is not answered.
    SettingsError
        The environment states wrong settings.
    """
    stated = settings_from(os.environ) if settings is None else settings
    _answer_examples()
    return _application(stated)


def _application(settings: Settings) -> Flask:
    app = Flask("loomwright", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = GREATEST_BODY_BYTES
    keep_settings(app, settings)
    redact(app.logger)
    if settings.log_format == JSON:
        use_json(app.logger)
    register_problems(app)
    register_access(app, settings, OPERATIONS)
    register_quota(app, settings)
    register_manners(app, settings, OPERATIONS)
    for module in (
        conductor,
        fuse,
        output,
        bill,
        plan,
        installation_drawing,
        price_books,
        price_packages,
        problem_page,
        load,
        signal,
        supply,
        measurement,
        network,
        work_order,
        drawings,
    ):
        app.register_blueprint(module.blueprint, url_prefix="/v1")

    register_probes(app, readiness_watcher(settings))

    @app.get(OPENAPI_PATH)
    def openapi() -> Response:
        return Response(openapi_json(OPERATIONS), content_type="application/json")

    register_pages(app)
    register_signals(app, settings, OPERATIONS)
    return app


@cache
def _answer_examples() -> None:
    """Answer every example and a plan once, by an application of its own that is then thrown away.

    The compiled formulas are then there before the first request, and before gunicorn forks its
    workers.
    """
    client = _application(Settings()).test_client()
    # Formulas of expected readings are asked by plans alone, and loops over rows by batches, which
    # have no example of their own.
    others: dict[str, dict[str, Any]] = {
        "plan-installation": {DEMO_JOBS[0]: {"job": demo_job(DEMO_JOBS[0])}},
        "price-packages": batch_examples(),
    }
    for operation, bodies in {**EXAMPLES, **others}.items():
        for name, body in bodies.items():
            answer = client.post(f"/v1/{operation}", json=body)
            if answer.status_code != HTTPStatus.OK:
                said = answer.get_data(as_text=True)
                raise RuntimeError(f"example {name} of {operation} is answered with {said}")
