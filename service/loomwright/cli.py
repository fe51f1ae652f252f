"""The command line: post a demo job to a running service and print the priced answer."""

import argparse
import sys
import urllib.error
import urllib.request
from collections.abc import Sequence
from typing import Any

import orjson

from loomwright.documents.text import bill_text
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job

TIMEOUT_S = 30.0


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    arguments
        Words of the command line; those of the process if none.

    Returns
    -------
    int
        Exit status: 0, or 1 with one line on standard error.
    """
    parser = argparse.ArgumentParser(prog="loomwright", description=__doc__)
    commands = parser.add_subparsers(required=True)
    demo = commands.add_parser("demo", help="post a demo job and print the priced answer")
    demo.add_argument("--url", default="http://127.0.0.1:8080", help="address of the service")
    demo.add_argument("--job", choices=DEMO_JOBS, default="hybrid_jump_start")
    demo.set_defaults(run=_demo)
    words = sys.argv[1:] if arguments is None else arguments
    if words and words[0] == "conformance":
        # Only then, as it brings the whole service with it.
        from loomwright.conformance.command import add_arguments  # noqa: PLC0415

        add_arguments(commands)
    else:
        commands.add_parser("conformance", help="judge a plugin by the plugin specification")
    chosen = parser.parse_args(arguments)
    status: int = chosen.run(chosen)
    return status


def _demo(chosen: argparse.Namespace) -> int:
    request = urllib.request.Request(
        f"{chosen.url}/v1/build-bill-of-materials",
        data=orjson.dumps({"job": demo_job(chosen.job)}),
        headers={"Content-Type": "application/json"},
    )
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as response:
            answer: dict[str, Any] = orjson.loads(response.read())
    except urllib.error.HTTPError as error:
        problem = orjson.loads(error.read())
        sys.stderr.write(f"loomwright: {error.code} {problem['detail']}\n")
        for fault in problem["errors"]:
            sys.stderr.write(f"  {fault['pointer'] or '/'}: {fault['message']}\n")
        return 1
    except OSError as error:
        sys.stderr.write(f"loomwright: no answer from {chosen.url}: {error}\n")
        return 1
    sys.stdout.write(bill_text(answer))
    return 0
