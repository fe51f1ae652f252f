"""Which form a request asks for, and the answer in it."""

from collections.abc import Mapping
from typing import Any

import orjson
from flask import Request, Response

from loomwright.web.answers import json_response
from loomwright.web.forms.accept import best_media_type
from loomwright.web.forms.form import (
    ERRORS_AS_TEXT,
    ERRORS_BY_STATUS,
    GREATEST_FIELD_LENGTH,
    Form,
    OperationForms,
)
from loomwright.web.forms.paths import Path, PathError, node_at, path_of, require_value
from loomwright.web.problems import ProblemError
from loomwright.web.requests import invalid
from loomwright.web.signals.exchange import note_verdict

_JSON = "application/json"
_TEXT = "text/plain"
# What nearly all clients send, and to which no other form can be the answer.
_PLAIN_WISHES = frozenset({"", "*/*", _JSON})


class AskedForm:
    """The form that a request asks for, with the part of the answer that it is to hold."""

    __slots__ = ("form", "path")

    def __init__(self, form: Form, path: Path = ()) -> None:
        self.form = form
        self.path = path

    @property
    def is_json(self) -> bool:
        """Whether the whole answer is asked for, as JSON."""
        return self.form.media_type == _JSON

    def response(self, document: Mapping[str, Any]) -> Response:
        """Return an answer in this form.

        Parameters
        ----------
        document
            Plain values, NumPy arrays and ready JSON.

        Returns
        -------
        Response
            With status 200.

        Raises
        ------
        ProblemError
            This answer lacks the part, or is too long for the form.
        """
        form = self.form
        verdict = document.get("verdict")
        if verdict is not None:
            note_verdict(verdict)
        if form.media_type == _JSON:
            response = json_response(document)
        else:
            # Through JSON, so that each form holds the JSON answer's figures to the last digit.
            plain = orjson.loads(orjson.dumps(document, option=orjson.OPT_SERIALIZE_NUMPY))
            response = Response(self._encoded(plain), content_type=form.content_type)
            if form.headers is not None:
                response.headers.update(form.headers(plain))
        response.headers["Vary"] = "Accept"
        return response

    def head_response(self) -> Response:
        """Return what HEAD gets: what is known without the answer.

        RFC 9110, 9.3.2 lets a server leave out header fields whose values are known only once the
        content is made, as HEAD is asked for the sake of efficiency; so nothing is computed, and
        neither length nor validator of the answer is stated.
        """
        response = Response(content_type=self.form.content_type)
        response.automatically_set_content_length = False
        response.headers["Vary"] = "Accept"
        return response

    def _encoded(self, plain: dict[str, Any]) -> bytes:
        form = self.form
        if form.encode_part is None:
            assert form.encode is not None
            body = form.encode(plain)
        else:
            try:
                body = form.encode_part(plain, self.path)
            except PathError as error:
                raise _of_field(str(error)) from None
        if form.greatest_characters is not None and len(body) > form.greatest_characters:
            # UTF-8 has at least as many bytes as characters; most answers need no second count.
            characters = len(body.decode())
            if characters > form.greatest_characters:
                raise ProblemError(
                    "answer_too_long",
                    f"The answer has {characters} characters as {form.name}, "
                    f"and a cell holds {form.greatest_characters}.",
                )
        return body


def asked_form(forms: OperationForms, request: Request) -> AskedForm:
    """Return the form that a request asks for.

    ``as`` of a query goes before ``Accept``, which a spreadsheet cannot set.

    Parameters
    ----------
    forms
        Of the operation.
    request
        Any method.

    Returns
    -------
    AskedForm
        JSON where the request has no wish.

    Raises
    ------
    ProblemError
        ``not_acceptable``, or ``invalid_request`` where ``as``, ``field`` or ``errors`` is wrong.
    """
    environ = request.environ
    # The body says all of a POST; its query is not looked at.
    if environ["REQUEST_METHOD"] != "POST" and environ.get("QUERY_STRING"):
        query = request.args
        if "as" in query or "field" in query or "errors" in query:
            return _asked_by_query(forms, request)
    return _plainly(forms, _accepted(forms, request))


def _plainly(forms: OperationForms, form: Form) -> AskedForm:
    """Return a form with the part that it gives unless another is named."""
    return AskedForm(form, path_of(forms.default_field) if form.media_type == _TEXT else ())


def _accepted(forms: OperationForms, request: Request) -> Form:
    header = request.environ.get("HTTP_ACCEPT", "")
    if header in _PLAIN_WISHES:
        return forms.forms[0] if header == _JSON else forms.unasked
    best = best_media_type(header, forms.offered)
    if best is None:
        raise ProblemError(
            "not_acceptable",
            f"Accept refuses every form of this answer; it comes as {', '.join(forms.offered)}.",
        )
    return forms.by_media_type[best]


def asked_form_of_batch(forms: OperationForms, request: Request) -> Form:
    """Return the form that a POST asks for by ``as`` of its query, or else by ``Accept``.

    Parameters
    ----------
    forms
        Of the operation.
    request
        Its query may have ``as``; whatever else stands there is not looked at.

    Returns
    -------
    Form
        The usual one where the request has no wish.

    Raises
    ------
    ProblemError
        ``not_acceptable``, ``duplicate_parameter``, or ``invalid_request`` where ``as`` is wrong.
    """
    names = request.args.getlist("as")
    if not names:
        return _accepted(forms, request)
    if len(names) > 1:
        raise ProblemError(
            "duplicate_parameter", f"as is given {len(names)} times.", [("/as", "give it once")]
        )
    form = forms.by_name.get(names[0])
    if form is None:
        raise invalid([("/as", f"give one of: {', '.join(forms.by_name)}")])
    return form


def _asked_by_query(forms: OperationForms, request: Request) -> AskedForm:
    query = request.args
    faults: list[tuple[str, str]] = []
    if query.get("errors", ERRORS_BY_STATUS) not in (ERRORS_BY_STATUS, ERRORS_AS_TEXT):
        faults.append(("/errors", f"give one of: {ERRORS_BY_STATUS}, {ERRORS_AS_TEXT}"))
    name = query.get("as")
    form = _accepted(forms, request) if name is None else forms.by_name.get(name)
    field = query.get("field")
    path: Path = ()
    if form is None:
        faults.append(("/as", f"give one of: {', '.join(forms.by_name)}"))
    elif field is None:
        path = _plainly(forms, form).path
    elif form.encode_part is None:
        faults.append(("/field", _takers(forms)))
    else:
        path = path_of(field)
        faults += _faults_of_path(forms, form, field)
    if faults or form is None:
        raise invalid(faults)
    return AskedForm(form, path)


def _takers(forms: OperationForms) -> str:
    takers = [f"as={form.name}" for form in forms.forms if form.encode_part is not None]
    return f"it goes with {' or '.join(takers)}" if takers else "this answer is given whole"


def _faults_of_path(forms: OperationForms, form: Form, field: str) -> list[tuple[str, str]]:
    if len(field) > GREATEST_FIELD_LENGTH:
        return [("/field", f"give at most {GREATEST_FIELD_LENGTH} characters")]
    try:
        if form.media_type == _TEXT:
            require_value(forms.answer, path_of(field))
        else:
            node_at(forms.answer, path_of(field))
    except PathError as error:
        return [("/field", str(error))]
    return []


def _of_field(message: str) -> ProblemError:
    return invalid([("/field", message)])
