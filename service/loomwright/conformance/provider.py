"""Judge a provider, over HTTP or in process: ask for every document, and for some that are none."""

import copy
import importlib
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import entry_points
from types import MappingProxyType
from typing import Any, Protocol, cast

from loomwright.conformance.checks import SHARED, Check, Context
from loomwright.conformance.provider_checks import PROVIDER_CHECKS
from loomwright.conformance.report import Ledger, UnexercisedError
from loomwright.conformance.specification import Case
from loomwright.conformance.steps import run_steps
from loomwright.exchange import JSON, PROBLEM, Address, Seen, UsageError
from loomwright.providers.provider import KINDS

CHECKS: Mapping[str, Check] = MappingProxyType({**SHARED, **PROVIDER_CHECKS})
Factory = Callable[[dict[str, str]], Any]
CAPABILITIES = "capabilities"
ENTRY_POINTS = "loomwright.providers"


class Source(Protocol):
    """A provider, however it is reached."""

    in_process: bool

    def ask(self, kind: str, name: str, step: Mapping[str, Any], context: Context) -> Seen:
        """Return what the provider gives for a kind of document of a price book."""


class HttpSource:
    """A provider over HTTP.

    Parameters
    ----------
    address
        Of the provider.
    """

    in_process = False

    def __init__(self, address: Address) -> None:
        self.address = address

    def ask(self, kind: str, name: str, step: Mapping[str, Any], context: Context) -> Seen:
        """Send one request, changed as the step says."""
        path = "/capabilities" if kind == CAPABILITIES else f"/price-books/{name}{KINDS[kind]}"
        path = step.get("path", path) + step.get("query", "")
        headers = {"Accept": f"{JSON}, {PROBLEM}"}
        if step.get("token", True):
            if self.address.token:
                headers["Authorization"] = f"Bearer {self.address.token}"
        elif not self.address.token:
            raise UnexercisedError("no token is given (--token-file)")
        for header, text in step.get("headers", {}).items():
            headers[header] = _with_etag(text, context)
        return self.address.send(step.get("method", "GET"), path, headers)


def _with_etag(text: str, context: Context) -> str:
    if "{etag}" not in text:
        return text
    etag = context.earlier[-1].headers.get("etag") if context.earlier else None
    if etag is None:
        raise UnexercisedError("no ETag is sent")
    return text.replace("{etag}", etag)


class ProcessSource:
    """A provider in process.

    Parameters
    ----------
    provider
        What the factory returned.
    """

    in_process = True

    def __init__(self, provider: Any) -> None:
        self.provider = provider

    def ask(self, kind: str, name: str, step: Mapping[str, Any], context: Context) -> Seen:
        """Call the method of a kind; None stands as status 404."""
        arguments = () if kind == CAPABILITIES else (name,)
        try:
            method = getattr(self.provider, kind)
            if "at_once" in step:
                with ThreadPoolExecutor(step["at_once"]) as pool:
                    calls = [pool.submit(method, *arguments) for _ in range(step["at_once"])]
                    values = [call.result() for call in calls]
                value = values[0] if all(each == values[0] for each in values) else values
            else:
                value = method(*arguments)
        except Exception as error:  # whatever a plugin raises is a finding, not an end
            return Seen(error=f"{kind} raised {type(error).__name__}: {error}")
        if value is None:
            return Seen(status=404)
        if step.get("spoil") and isinstance(value, dict):
            context.kept = copy.deepcopy(value)
            value.clear()
        return Seen(status=200, headers={"content-type": JSON}, value=value)


class ProviderRunner:
    """Judges one provider.

    Parameters
    ----------
    source
        The provider.
    """

    def __init__(self, source: Source) -> None:
        self.source = source
        self.capabilities: Mapping[str, Any] = {}

    def judge(self, cases: Sequence[Case], ledger: Ledger) -> None:
        """Run cases and note what they tell.

        Parameters
        ----------
        cases
            Of the role.
        ledger
            Where it is noted.

        Raises
        ------
        UsageError
            The provider cannot be reached at all.
        """
        first = self.source.ask(CAPABILITIES, "", {}, Context("provider"))
        if first.error and not self.source.in_process:
            raise UsageError(f"the provider gives {first.error}")
        if isinstance(first.document, dict):
            self.capabilities = first.document
        for case in cases:
            wanted = case.document.get("transport")
            if wanted is not None and (wanted == "in process") is not self.source.in_process:
                for number in case.requirements:
                    ledger.skip(number, case.key, f"judged {wanted} only")
                continue
            context = Context(
                "provider", in_process=self.source.in_process, capabilities=self.capabilities
            )
            self._run(case, context, ledger)

    def _run(self, case: Case, context: Context, ledger: Ledger) -> None:
        """Run a case, once for each price book if it is about one."""
        if not case.document.get("each_price_book"):
            run_steps(case, self._perform, CHECKS, context, ledger)
            return
        names = self._names()
        if not names:
            for number in case.requirements:
                ledger.skip(number, case.key, "the provider lists no price book")
        for name in names:
            own = Context(
                "provider",
                in_process=context.in_process,
                capabilities=self.capabilities,
                name=name,
                book=self._part("price_book", name),
                tax_rules=self._part("tax_rules", name),
            )
            run_steps(case, self._perform, CHECKS, own, ledger)

    def _names(self) -> list[str]:
        stated = self.capabilities.get("price_books")
        if not isinstance(stated, list):
            return []
        return [name for name in stated if isinstance(name, str)]

    def _part(self, kind: str, name: str) -> Mapping[str, Any]:
        """Return the member that a document is about; empty if it is not served."""
        document = self.source.ask(kind, name, {}, Context("provider")).member(kind)
        return document if isinstance(document, dict) else {}

    def _perform(self, step: Mapping[str, Any], context: Context) -> list[Seen]:
        kind = step.get("document", CAPABILITIES)
        serves = self.capabilities.get("serves")
        listed = isinstance(serves, list) and kind in serves
        if "listed" in step and listed is not step["listed"]:
            raise UnexercisedError(f"{kind} is {'' if listed else 'not '}in serves")
        return [self.source.ask(kind, step.get("name", context.name), step, context)]


def over_http(address: Address) -> ProviderRunner:
    """Return the runner for a provider at an address."""
    return ProviderRunner(HttpSource(address))


def in_process(factory: str, options: Mapping[str, str]) -> ProviderRunner:
    """Return the runner for a provider in process.

    Parameters
    ----------
    factory
        ``module:callable``, where a module of the working directory comes first; or the name of an
        entry point of the group ``loomwright.providers``.
    options
        Of the operator.

    Returns
    -------
    ProviderRunner
        Holds what the factory returned.

    Raises
    ------
    UsageError
        The factory cannot be found, imported or raises.
    """
    try:
        made = _factory(factory)
        return ProviderRunner(ProcessSource(made(dict(options))))
    except UsageError:
        raise
    except Exception as error:  # the plugin's own code: whatever it raises, the subject is unusable
        raise UsageError(f"{factory} gives {type(error).__name__}: {error}") from None


def _factory(factory: str) -> Factory:
    module, colon, name = factory.partition(":")
    if colon:
        # A command that is installed does not look where it is started, unlike python -m.
        sys.path.insert(0, "")
        try:
            return cast(Factory, getattr(importlib.import_module(module), name))
        finally:
            sys.path.remove("")
    for entry in entry_points(group=ENTRY_POINTS, name=factory):
        return cast(Factory, entry.load())
    raise UsageError(
        f"--factory {factory!r} is neither MODULE:CALLABLE nor an entry point of {ENTRY_POINTS}"
    )
