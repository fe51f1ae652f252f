"""What a start of the service loads: nothing that only some answers need."""

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Typesetting, drawing, calendars and figures of languages, Markdown, the files of the reference,
# pictures. Of Babel its core is loaded by Pint, which costs two thousandths of a second; Jinja
# comes with Flask, but no template may be read.
LATE = (
    "typst",
    "schemdraw",
    "ziaplot",
    "babel.dates",
    "babel.messages",
    "babel.support",
    "markdown_it",
    "mdurl",
    "flask_swagger_ui",
    "PIL",
    # Signals that are off.
    "prometheus_client",
    "opentelemetry",
    "lxml",
    "loomwright.documents.for_people",
    "loomwright.documents.html",
    "loomwright.documents.pdf",
    "loomwright.documents.plan_csv",
    "loomwright.documents.words",
)
# Runs by itself: this process has long loaded all of it.
START = """
import json, sys
from unittest import mock
import jinja2
made = []
first = jinja2.Environment.__init__
def note(self, *arguments, **options):
    made.append(repr(type(self)))
    first(self, *arguments, **options)
with mock.patch.object(jinja2.Environment, "__init__", note):
    from loomwright.web.app import create_app
    app = create_app()
    health = app.test_client().get("/v1/health").status_code
print(json.dumps([health, made, sorted(sys.modules)]))
"""


def started() -> tuple[int, list[str], set[str]]:
    """Start the service in a process of its own: its health, Jinja's environments, modules."""
    done = subprocess.run(
        [sys.executable, "-c", START],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    health, environments, modules = json.loads(done.stdout)
    return health, environments, set(modules)


def test_a_start_loads_nothing_that_only_some_answers_need() -> None:
    health, environments, modules = started()
    assert health == 200
    assert environments == []
    assert "loomwright.web.app" in modules
    assert sorted(modules & set(LATE)) == []
