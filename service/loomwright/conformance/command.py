"""``loomwright conformance``: judge a caller, a provider or a receiver by each requirement."""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from loomwright.conformance import caller, provider, receiver
from loomwright.conformance.report import Ledger, Report, report_of
from loomwright.conformance.specification import (
    FOLDER,
    ROLES,
    Case,
    Specification,
    SpecificationError,
    specification,
)
from loomwright.exchange import UsageError, address_of

PASS, MISS, USAGE = 0, 1, 2
DEFAULT_PATIENCE_S = 60.0


def add_arguments(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add ``conformance`` with its roles to the commands of a program.

    Parameters
    ----------
    commands
        Of its parser.
    """
    parser = commands.add_parser("conformance", help="judge a plugin by the plugin specification")
    roles = parser.add_subparsers(required=True, dest="role", metavar="|".join(ROLES))
    for role in ROLES:
        own = roles.add_parser(role, help=f"judge a {role}")
        own.add_argument("--json", action="store_true", help="print the report as JSON")
        own.add_argument("--specification", type=Path, default=FOLDER, help="folder of the pages")
        own.add_argument("--only", metavar="NUMBER", help="run the cases of one requirement")
        if role == "caller":
            own.add_argument("--command", required=True, help="starts the caller; {url} is put in")
            own.add_argument("--patience", type=float, default=DEFAULT_PATIENCE_S, metavar="S")
            own.add_argument("--at-once", type=int, default=1, metavar="N", help="commands at once")
        else:
            own.add_argument("--token-file", type=Path, help="file with the bearer token")
        if role == "receiver":
            own.add_argument("--url", required=True, help="base address")
        if role == "provider":
            where = own.add_mutually_exclusive_group(required=True)
            where.add_argument("--url", help="base address")
            where.add_argument("--factory", metavar="MODULE:CALLABLE", help="of the provider")
            own.add_argument(
                "--option", action="append", default=[], metavar="NAME=TEXT", help="for the factory"
            )
        own.set_defaults(run=run)


def run(chosen: argparse.Namespace) -> int:
    """Judge what the command line names and print the report.

    Parameters
    ----------
    chosen
        From ``add_arguments``.

    Returns
    -------
    int
        0, or 1 if something was missed, or 2 with one line on standard error.
    """
    try:
        report = _report(chosen)
    except (UsageError, SpecificationError) as fault:
        sys.stderr.write(f"loomwright: {fault}\n")
        return USAGE
    if chosen.json:
        sys.stdout.write(json.dumps(report.document, indent=2, ensure_ascii=False) + "\n")
    else:
        sys.stdout.write(report.text)
    return MISS if report.missed else PASS


def known_checks() -> set[str]:
    """Return the names of all checks that the runner has."""
    return {*caller.CHECKS, *provider.CHECKS, *receiver.CHECKS}


def _report(chosen: argparse.Namespace) -> Report:
    read = specification(chosen.specification)
    cases = _cases(read, chosen)
    ledger = Ledger()
    if chosen.role == "caller":
        subject = chosen.command
        caller.CallerRunner(chosen.command, chosen.patience, chosen.at_once).judge(cases, ledger)
    elif chosen.role == "receiver":
        subject = chosen.url
        address = address_of(chosen.url, _token(chosen))
        receiver.ReceiverRunner(address).judge(cases, ledger)
    else:
        subject = chosen.url or chosen.factory
        _provider(chosen).judge(cases, ledger)
    requirements = read.of_role(chosen.role)
    if chosen.only:
        requirements = tuple(entry for entry in requirements if entry.number == chosen.only)
    return report_of(chosen.role, subject, requirements, ledger)


def _cases(read: Specification, chosen: argparse.Namespace) -> Sequence[Case]:
    cases = read.cases_of(chosen.role)
    if not chosen.only:
        return cases
    named = [case for case in cases if chosen.only in case.requirements]
    if not named:
        raise UsageError(f"no case of a {chosen.role} judges {chosen.only!r}")
    compared = {entry.get("as") for case in named for entry in case.expectations}
    return [case for case in cases if case in named or case.key in compared]


def _provider(chosen: argparse.Namespace) -> provider.ProviderRunner:
    if chosen.url:
        return provider.over_http(address_of(chosen.url, _token(chosen)))
    options = {}
    for option in chosen.option:
        name, equals, text = option.partition("=")
        if not name or not equals:
            raise UsageError(f"--option {option!r} is not of the form NAME=TEXT")
        options[name] = text
    return provider.in_process(chosen.factory, options)


def _token(chosen: argparse.Namespace) -> str:
    if chosen.token_file is None:
        return ""
    try:
        token: str = chosen.token_file.read_text("ascii").strip()
    except (OSError, ValueError) as error:
        raise UsageError(f"the token cannot be read: {error}") from None
    return token
