"""Answers of the service itself, without a network: what the runner judges with is real."""

from functools import cache

import orjson
from flask import Flask

from loomwright.jobs.demo_library import demo_job
from loomwright.web.app import create_app

BILL_OPERATION = "/v1/build-bill-of-materials"


@cache
def service() -> Flask:
    """Return the service as a WSGI application, made once."""
    return create_app()


@cache
def bill_bytes() -> bytes:
    """Return the bill of a demo job, byte for byte as the service answers it."""
    answer = (
        service()
        .test_client()
        .post(
            BILL_OPERATION,
            data=orjson.dumps({"job": demo_job("hybrid_jump_start")}),
            content_type="application/json",
        )
    )
    return answer.get_data()
