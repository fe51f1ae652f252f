"""Record the examples of the OpenAPI document from the running service.

``python tests/recording.py`` writes the file that the document is made from, and
``tests/contract/test_recording.py`` holds it to what the service answers now. Requests of the
operations are those that the document shows; those of problems stand here.
"""

import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from werkzeug.exceptions import HTTPException, default_exceptions
from werkzeug.test import TestResponse

from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.web.app import create_app
from loomwright.web.examples import EXAMPLES
from loomwright.web.forms.errors import ERROR_FORMS
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.openapi_bodies import DocumentSchema
from loomwright.web.openapi_examples import FILE
from loomwright.web.operations import OPERATIONS
from loomwright.web.problem_codes import CODES
from loomwright.web.problems import MEDIA_TYPE, ProblemError
from loomwright.web.requests import GREATEST_BODY_BYTES
from loomwright.web.schemas.batch import GREATEST_VEHICLES, batch_examples
from set_up import create_with, key_entry

Recorded = dict[str, Any]
JSON = "application/json"
PAGE = "text/html"
KEY = "a key that may see cost and margin"
OTHER_KEY = "a key that may not"
CONDUCTOR = EXAMPLES["size-conductor"]["bass_unit_under_the_seat"]
FUSE = EXAMPLES["size-fuse"]["bass_unit_under_the_seat"]
BATCH = batch_examples()["every_package_for_every_vehicle"]
# One bill and one set of plans show what those are; each is some 60 000 characters or more.
BILL = "hybrid_jump_start"
_ONE_OF_MANY = (
    "build-bill-of-materials",
    "plan-installation",
    "draw-installation",
    "draw-voltage-path",
    "build-work-order",
)
_ERROR_FORMS = tuple((form.media_type, form.name) for form in ERROR_FORMS)


def _document_bodies() -> dict[str, Recorded]:
    """Return the examples of the operations that take a document."""
    bodies: dict[str, Recorded] = {}
    for operation in OPERATIONS:
        if isinstance(operation.request, DocumentSchema):
            examples = operation.request.examples()
            bodies[operation.name] = (
                {BILL: examples[BILL]} if operation.name in _ONE_OF_MANY else examples
            )
    return bodies | {"check-price-book": {"demo_book": {"price_book": demo_price_book()}}}


BODIES = _document_bodies()


def recording_settings(folder: Path) -> dict[str, Any]:
    """Return the settings of a service with a good and a faulty price book and a key for cost."""
    books = folder / "books"
    books.mkdir()
    (books / "spring.json").write_text(json.dumps(demo_price_book()), "utf-8")
    (books / "faulty.json").write_text(json.dumps({"name": "no price book"}), "utf-8")
    keys = folder / "keys.toml"
    known = key_entry(KEY, "cost"), key_entry(OTHER_KEY, "price", identifier="till")
    keys.write_text("".join(known), "utf-8")
    return {"price_books": books, "keys_file": keys, "access": "open"}


@contextmanager
def recording_client() -> Iterator[FlaskClient]:
    """Yield a client of that service."""
    with tempfile.TemporaryDirectory() as name:
        yield create_with(**recording_settings(Path(name))).test_client()


# --- answers ---


def recorded_answers(client: FlaskClient) -> Recorded:
    """Return the answers by operation, media type and name of the example."""
    ready = create_app().test_client()
    return {
        operation.name: {
            # The recording's own service has a faulty price book on purpose.
            **_answers_of(
                ready if operation.name == "ready" else client, operation.name, operation.url
            ),
            **{
                page: {"page": _accepted(client.get(operation.url, headers={"Accept": page})).text}
                for page in operation.pages
            },
        }
        for operation in OPERATIONS
    }


def _form_answers(client: FlaskClient, name: str, url: str) -> Recorded:
    """Return the answers to the documents of an operation in each form that is text but JSON.

    Pages for people are left out: they are long, and tell a program nothing.
    """
    return {
        form.media_type: {
            example: _accepted(
                client.post(url, json=body, headers={"Accept": form.media_type})
            ).text
            for example, body in BODIES[name].items()
        }
        for form in FORMS_BY_OPERATION[name].forms
        if form.media_type not in (JSON, PAGE) and not form.is_binary
    }


def _answers_of(client: FlaskClient, name: str, url: str) -> Recorded:
    if name not in EXAMPLES and name not in BODIES:
        return {JSON: {"answer": _accepted(client.get(url)).get_json()}}
    bodies = EXAMPLES.get(name) or BODIES[name]
    posted = {
        example: _accepted(client.post(url, json=body, headers={"Accept": JSON})).get_json()
        for example, body in bodies.items()
    }
    if name not in EXAMPLES:
        return {JSON: posted, **_form_answers(client, name, url)}
    first, body = next(iter(bodies.items()))
    by_query = _accepted(client.get(url, query_string=_query(body | {"as": "json"})))
    if by_query.get_json() != posted[first]:
        raise RuntimeError(f"GET and POST of {name} differ")
    forms = {}
    for form in FORMS_BY_OPERATION[name].forms[1:]:
        media_type = form.media_type
        text = _accepted(client.get(url, query_string=_query(body | {"as": form.name}))).text
        accepted = _accepted(client.post(url, json=body, headers={"Accept": media_type}))
        if accepted.text != text:
            raise RuntimeError(f"GET and POST of {name} as {media_type} differ")
        forms[media_type] = {first: text}
    return {JSON: posted, **forms}


def _query(body: Recorded) -> Recorded:
    return {
        name: value if isinstance(value, str) else json.dumps(value) for name, value in body.items()
    }


def _accepted(response: TestResponse) -> TestResponse:
    if response.status_code != 200:
        raise RuntimeError(f"an example is refused: {response.text}")
    return response


# --- problems ---


class _Stalled:
    """A body that never arrives, as the server's socket gives it up."""

    def read(self, size: int = -1) -> bytes:
        raise TimeoutError(size)

    readinto = readline = read


def _bill(pricing: Recorded | None = None, **members: Any) -> Recorded:
    priced = {} if pricing is None else {"pricing": pricing}
    return {"json": {"job": demo_job(BILL), **priced, **members}}


def _old_book() -> Recorded:
    return demo_price_book() | {"valid_until": "2031-05-31"}


def _difficult_job() -> Recorded:
    job = demo_job(BILL)
    job["vehicle"]["difficulty"] = "unheard_of"
    return job


def _drivers(drivers: list[Recorded]) -> Recorded:
    """Return a request of drivers of two coils, or as stated."""
    like = {"coil_impedance": 4, "voice_coils": 2}
    return {"drivers": [like | driver for driver in drivers], "least_load_impedance": 2}


def _far_job() -> Recorded:
    job = demo_job("combustion_car")
    # No conductor of the series is thick enough for a thousandth.
    job["circuits"][0]["allowed_voltage_drop_percent"] = 0.1
    return job


def _starved_job() -> Recorded:
    """Return a job whose source delivers 12.6^2 / 0.2 = 794 W at most, and is asked for 1000 W."""
    job = demo_job("combustion_car")
    (source,), (circuit,), load = job["power_sources"], job["circuits"], job["equipment"][0]
    del source["cold_cranking_current"], load["load_current"]
    source["source_resistance"], load["load_power"] = 0.05, 500
    job["circuits"].append({**circuit, "key": "second_feed"})
    job["equipment"].append({**load, "key": "second", "circuit": "second_feed"})
    return job


def _cranking_fuse() -> Recorded:
    without = {name: value for name, value in FUSE.items() if name != "source_resistance"}
    # 7.2 V is the voltage of the cold-cranking test of SAE J537 for a 12 V battery.
    return without | {"cold_cranking_current": 600, "source_voltage": 7.0}


_GET, _POST = "GET", "POST"
# What brings each problem: method, operation, and the rest of the request as Werkzeug's client
# takes it. Codes that no request reaches, as schemas refuse first, are raised in place of the
# calculation.
REQUESTS: dict[str, tuple[tuple[str, str, Recorded], ...]] = {
    "ambient_not_below_rating": (
        (_POST, "size-conductor", {"json": {**CONDUCTOR, "ambient_temperature": 120}}),
    ),
    "batch_too_large": (
        (
            _POST,
            "price-packages",
            {"json": {**BATCH, "vehicles": [{}] * (GREATEST_VEHICLES + 1)}},
        ),
    ),
    "body_too_large": (
        (
            _POST,
            "size-conductor",
            {"data": b" " * (GREATEST_BODY_BYTES + 1), "content_type": JSON},
        ),
    ),
    "deposit_above_total": (
        (_POST, "build-bill-of-materials", _bill({"deposit": {"amount": "999999"}})),
    ),
    "discount_above_total": (
        (_POST, "build-bill-of-materials", _bill({"document_discount": {"amount": "999999"}})),
    ),
    "duplicate_parameter": (
        (_GET, "size-conductor", {"query_string": [("length", "4 m"), ("length", "5 m")]}),
    ),
    "too_many_coils": ((_POST, "match-load-impedance", {"json": _drivers([{}] * 5)}),),
    "too_many_wirings": (
        (
            _POST,
            "match-load-impedance",
            {"json": _drivers([{"coil_impedance": 4 + n, "voice_coils": 1} for n in range(6)])},
        ),
    ),
    "circuit_not_sized": ((_POST, "check-measurements", {"json": {"job": _far_job()}}),),
    "emf_below_cranking_voltage": ((_POST, "size-fuse", {"json": _cranking_fuse()}),),
    "invalid_request": (
        (_POST, "size-conductor", {"json": {**CONDUCTOR, "length": "5 yards"}}),
        (_GET, "size-conductor", {"query_string": _query({**CONDUCTOR, "length": "5 yards"})}),
        (_POST, "size-fuse", {"json": {**FUSE, "size": "9 AWG"}}),
        (_GET, "size-fuse", {"query_string": _query({**FUSE, "size": "9 AWG"})}),
        (_POST, "estimate-real-output", {"json": {"fuse_rating": 25}}),
        (_GET, "estimate-real-output", {"query_string": {"fuse_rating": "25"}}),
        (_POST, "match-load-impedance", {"json": {"least_load_impedance": 2}}),
        (_GET, "match-load-impedance", {"query_string": {"least_load_impedance": "2"}}),
        (_POST, "assess-supply", {"json": {"system_voltage": 13}}),
        (_POST, "solve-network", {"json": {"system_voltage": 13}}),
        (_POST, "build-bill-of-materials", {"json": {}}),
        (_POST, "plan-signal-path", {"json": {"system_voltage": 13}}),
        (_POST, "check-price-book", {"json": {"price_book": 5}}),
        (_POST, "check-measurements", {"json": {}}),
        (_POST, "price-packages", {"json": {"packages": [], "vehicles": []}}),
    ),
    "key_not_permitted": (
        (
            _POST,
            "build-bill-of-materials",
            {
                **_bill({"show_cost": True}, price_book_name="spring"),
                "headers": {"Authorization": f"Bearer {OTHER_KEY}"},
            },
        ),
    ),
    "key_required": (
        (
            _POST,
            "build-bill-of-materials",
            _bill({"show_cost": True}, price_book_name="spring"),
        ),
    ),
    "malformed_body": ((_POST, "size-conductor", {"data": b'{"length": 5', "content_type": JSON}),),
    "malformed_coding": (
        (
            _POST,
            "price-packages",
            {"json": BATCH, "headers": {"Content-Encoding": "gzip"}},
        ),
    ),
    "malformed_records": (
        (
            _POST,
            "price-packages",
            {"data": b'{"package": {}}\n{"vehicle"', "content_type": "application/x-ndjson"},
        ),
    ),
    "method_not_allowed": (("PUT", "size-conductor", {}),),
    "no_operating_point": ((_POST, "check-measurements", {"json": {"job": _starved_job()}}),),
    "not_acceptable": (
        (_POST, "size-conductor", {"json": CONDUCTOR, "headers": {"Accept": "image/png"}}),
    ),
    "not_found": ((_GET, "size-nothing", {}),),
    "not_ready": ((_GET, "ready", {}),),
    "price_book_faulty": ((_POST, "build-bill-of-materials", _bill(price_book_name="faulty")),),
    "price_book_not_valid": (
        (_POST, "build-bill-of-materials", _bill({"as_of": "2031-06-01"}, price_book=_old_book())),
    ),
    "request_timeout": (
        (
            _POST,
            "size-conductor",
            {
                "content_type": JSON,
                "environ_overrides": {"wsgi.input": _Stalled(), "CONTENT_LENGTH": "10"},
            },
        ),
    ),
    "unknown_difficulty": (
        (_POST, "build-bill-of-materials", {"json": {"job": _difficult_job()}}),
    ),
    "unknown_price_book": (
        (_POST, "build-bill-of-materials", _bill(price_book_name="summer")),
        (_POST, "check-price-book", {"json": {"price_book_name": "summer"}}),
        (_POST, "price-packages", {"json": {**BATCH, "price_book_name": "summer"}}),
    ),
    "unsupported_coding": (
        (_POST, "price-packages", {"json": BATCH, "headers": {"Content-Encoding": "br"}}),
    ),
    "unsupported_media_type": (
        (_POST, "size-conductor", {"data": b"length=5", "content_type": "text/plain"}),
    ),
}
# Codes that belong to one operation each; the others belong to every one that has their status.
_OF_BATCHES = ("batch_too_large", "malformed_coding", "malformed_records", "unsupported_coding")
_OWN = frozenset(
    (
        *(code for code in REQUESTS if CODES[code].status == 422 or CODES[code].operation),
        *_OF_BATCHES,
    )
)


def recorded_problems(client: FlaskClient) -> list[Recorded]:
    """Return a problem for each code and operation, and where none is named, one for all."""
    records = []
    with _raising_client() as raising:
        for code in sorted(CODES):
            requests = REQUESTS.get(code, ())
            for method, operation, rest in requests:
                response = client.open(f"/v1/{operation}", method=method, **rest)
                own = (operation, method.lower()) if code in _OWN else (None, None)
                records.append(_record(code, response, *own))
            if not requests:
                records.append(_record(code, raising.get(f"/raise/{code}"), None, None))
    return records


def _record(
    code: str, response: TestResponse, operation: str | None, method: str | None
) -> Recorded:
    value = json.loads(response.get_data())
    if response.content_type != MEDIA_TYPE or value["code"] != code:
        raise RuntimeError(f"{code} is wanted, and the answer is {response.text[:500]}")
    return {"code": code, "operation": operation, "method": method, "value": value}


@contextmanager
def _raising_client() -> Iterator[FlaskClient]:
    """Yield a client of a service that fails as it is told to, for what no request brings about."""
    application = create_app()
    application.logger.disabled = True

    @application.get("/raise/<code>")
    def raises(code: str) -> None:
        raise _FAILURES.get(code, ProblemError(code, f"{CODES[code].title}."))

    try:
        yield application.test_client()
    finally:
        # The logger is one for all applications of this name.
        application.logger.disabled = False


class _Refused(HTTPException):
    """A status that has no code of its own."""

    code = 409


_FAILURES: dict[str, Exception] = {
    "bad_request": default_exceptions[400](),
    "http_error": _Refused("The request was refused."),
    "internal_error": RuntimeError("raised for the recording"),
    "uri_too_long": default_exceptions[414](),
}


def recorded_lines(client: FlaskClient) -> Recorded:
    """Return one error in each form but the problem document, by media type."""
    wrong = _query({**CONDUCTOR, "length": "5 yards"})
    return {
        media_type: client.get("/v1/size-conductor", query_string=wrong | {"as": name}).text
        for media_type, name in _ERROR_FORMS
    }


def recorded() -> Recorded:
    """Return everything that the document shows of the running service."""
    with recording_client() as client:
        return {
            "answers": recorded_answers(client),
            "problems": recorded_problems(client),
            "lines": recorded_lines(client),
        }


def recorded_text() -> str:
    """Return the record as the file holds it."""
    return json.dumps(recorded(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(recorded_text(), "utf-8")
