"""The requests of deploy/spreadsheets/README.md are executed, and its tables are those served."""

import re
import shlex
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from drawn_requests import client
from loomwright.web.examples import EXAMPLES
from loomwright.web.forms.errors import GREATEST_LINE
from loomwright.web.forms.form import GREATEST_CHARACTERS, RESERVED_PARAMETERS
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.schemas.batch import batch_examples
from loomwright.web.schemas.batch_bodies import csv_of

README = (Path(__file__).parents[2] / "deploy" / "spreadsheets" / "README.md").read_text("utf-8")
EXCHANGES = re.findall(r"```\nGET (\S+)\n(\d{3}) (.+)\n((?:(?!```).+\n)+)```", README)
ADDRESSES = re.findall(r'"(https?://[^"/]+/v1/[^"]+)"', README)
LONGEST_ADDRESS = 2048
SERVER = "http://127.0.0.1:8080"
CALCULATORS = ("size-conductor", "size-fuse", "estimate-real-output")
# Operation, fields and columns of each row of the table of tables.
TABLES = re.findall(
    r"^\| (all three|size-[a-z]+)(?:, with `[^`]+`)? \| ((?:`\S+`(?:, )?)+) \| (.+) \|$",
    README,
    re.M,
)


def test_there_are_exchanges_formulas_and_tables():
    assert (len(EXCHANGES), len(ADDRESSES), len(TABLES)) == (6, 5, 9)


@pytest.mark.parametrize(("url", "status", "content_type", "body"), EXCHANGES)
def test_request_is_answered_as_shown(url, status, content_type, body):
    response = client().get(url)
    assert (response.status_code, response.content_type) == (int(status), content_type)
    assert response.get_data(as_text=True).replace("\r\n", "\n").rstrip("\n") == body.rstrip("\n")


@pytest.mark.parametrize("address", [SERVER + url for url, *_ in EXCHANGES] + ADDRESSES)
def test_address_and_answer_are_within_the_limits(address):
    assert len(address) < LONGEST_ADDRESS
    response = client().get(f"{urlsplit(address).path}?{urlsplit(address).query}")
    assert len(response.get_data(as_text=True)) < GREATEST_CHARACTERS
    if address in ADDRESSES:
        assert response.status_code == 200


@pytest.mark.parametrize(("operations", "fields", "columns"), TABLES)
def test_table_has_the_columns_that_are_listed(operations, fields, columns):
    named = CALCULATORS if operations == "all three" else (operations,)
    for operation in named:
        request = {**next(iter(EXAMPLES[operation].values())), "explain": True}
        query = {
            name: value if isinstance(value, str) else str(value).lower().replace("'", '"')
            for name, value in request.items()
        }
        for field in re.findall(r"`(\S+)`", fields):
            wanted = query | {"as": "csv", "field": field}
            response = client().get(f"/v1/{operation}", query_string=wanted)
            assert response.status_code == 200, response.get_data(as_text=True)
            first = response.get_data(as_text=True).partition("\r\n")[0]
            assert first == ",".join(f'"{name}"' for name in columns.split(", "))


def test_parameters_values_and_limits_are_those_of_the_service():
    rows = re.findall(r"^\| `([a-z]+)` \| ", README, re.M)
    assert set(rows) == RESERVED_PARAMETERS
    for operation in CALCULATORS:
        forms = FORMS_BY_OPERATION[operation]
        assert f"`{forms.default_field}` of {operation}" in README.replace("\n", " ")
        assert all(f"`{name}`" in README for name in forms.by_name)
    assert f"{GREATEST_CHARACTERS:,} characters" in README
    assert f"at most {GREATEST_LINE} characters" in README


def test_rows_of_a_batch_come_as_the_command_says():
    (command,) = re.findall(r"```\n(curl .+)\n```", README)
    words = shlex.split(command)
    url = urlsplit(words[words.index("-s") + 1])
    header = words[words.index("-H") + 1]
    assert header == "Content-Type: text/csv"
    batch = csv_of(batch_examples()["every_package_for_every_vehicle"])
    response = client().post(f"{url.path}?{url.query}", data=batch, content_type="text/csv")
    assert response.status_code == 200
    assert response.mimetype == "text/csv"
    assert response.data.count(b"\r\n") == 3
