"""The command line: price a demo job or a batch, deliver a quote, judge a plugin."""

import argparse
import sys
import urllib.error
import urllib.request
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import orjson

from loomwright.delivery import delivered
from loomwright.documents.text import bill_text
from loomwright.exchange import UsageError, address_of
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
        Exit status: 0, or 1 with what went wrong on standard error, or 2 where the command line or
        what it names cannot be used; that of ``price-packages`` says more.
    """
    parser = argparse.ArgumentParser(prog="loomwright", description=__doc__)
    commands = parser.add_subparsers(required=True)
    demo = commands.add_parser("demo", help="post a demo job and print the priced answer")
    demo.add_argument("--url", default="http://127.0.0.1:8080", help="address of the service")
    demo.add_argument("--job", choices=DEMO_JOBS, default="hybrid_jump_start")
    demo.set_defaults(run=_demo)
    deliver = commands.add_parser("deliver", help="deliver a quote to a receiver")
    deliver.add_argument("--to", required=True, metavar="BASE", help="address of the receiver")
    deliver.add_argument(
        "--quote",
        required=True,
        type=Path,
        metavar="FILE",
        help="answer of build-bill-of-materials",
    )
    deliver.add_argument("--reference", default="", help="the shop's own text")
    deliver.add_argument("--token-file", type=Path, help="file with the bearer token")
    deliver.set_defaults(run=_deliver)
    words = sys.argv[1:] if arguments is None else arguments
    if words and words[0] == "conformance":
        # Only then, as it brings the whole service with it.
        from loomwright.conformance.command import add_arguments  # noqa: PLC0415

        add_arguments(commands)
    else:
        commands.add_parser("conformance", help="judge a plugin by the plugin specification")
    batch = commands.add_parser("price-packages", help="price package deals for vehicles, by files")
    if words and words[0] == "price-packages":
        # Only then, as it brings Arrow and all of the engineering with it.
        from loomwright.batch.runs.command import add_arguments as add_batch  # noqa: PLC0415

        add_batch(batch)
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
        # Whoever runs the command states the address, and could read any file himself.
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as response:  # nosec B310
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


def _deliver(chosen: argparse.Namespace) -> int:
    try:
        token = chosen.token_file.read_text("ascii").strip() if chosen.token_file else ""
        quote = chosen.quote.read_bytes()
        outcome = delivered(quote, chosen.reference, address_of(chosen.to, token))
    except (UsageError, OSError, UnicodeDecodeError) as fault:
        sys.stderr.write(f"loomwright: {fault}\n")
        return 2
    if outcome.recorded:
        sys.stdout.write(f"{outcome.sentence}\n")
        return 0
    sys.stderr.write(f"loomwright: {outcome.sentence}\n")
    sys.stderr.writelines(f"  {fault}\n" for fault in outcome.faults)
    return 1
