"""The view of a calculator: the same for each, but for schema, forms and the calculation."""

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response
from flask.globals import request_ctx

from loomwright.web.forms.negotiation import asked_form
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.requests import loaded
from loomwright.web.schemas.base import Request as RequestSchema

Answering = Callable[[dict[str, Any]], dict[str, Any]]


def calculator(
    blueprint: Blueprint, operation: str, schema: RequestSchema
) -> Callable[[Answering], Answering]:
    """Serve a function from loaded values to an answer by GET, HEAD, POST and OPTIONS.

    Parameters
    ----------
    blueprint
        Gets the route.
    operation
        Its name, which is its path.
    schema
        Of the request.

    Returns
    -------
    Callable
        Decorator that leaves the function as it is.
    """
    forms = FORMS_BY_OPERATION[operation]

    def serve(answer: Answering) -> Answering:
        def view() -> Response:
            request = request_ctx.request
            asked = asked_form(forms, request)
            values = loaded(schema, request)
            if request.method == "HEAD":
                return asked.head_response()
            return asked.response(answer(values))

        view.__doc__ = f"Answer {operation}."
        # Flask answers OPTIONS itself, without calling the view.
        blueprint.add_url_rule(
            f"/{operation}", operation.replace("-", "_"), view, methods=["GET", "POST"]
        )
        return answer

    return serve
