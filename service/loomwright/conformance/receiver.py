"""Judge a receiver: deliver quotes, right ones and wrong ones, and see what it answers."""

import secrets
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from types import MappingProxyType
from typing import Any

from loomwright.conformance.checks import SHARED, Check, Context, Words
from loomwright.conformance.deliveries import delivery
from loomwright.conformance.report import Ledger, UnexercisedError
from loomwright.conformance.specification import Case
from loomwright.conformance.steps import run_steps
from loomwright.exchange import JSON, PROBLEM, Address, Seen, UsageError


def _one_created(_: Seen, __: Words, context: Context) -> str | None:
    statuses = sorted(str(seen.status or seen.error) for seen in context.at_once)
    if statuses == ["200"] * (len(statuses) - 1) + ["201"]:
        return None
    return f"equal deliveries at once were answered with {', '.join(statuses)}"


def _names_faults(seen: Seen, _: Words, __: Context) -> str | None:
    errors = seen.member("errors")
    if isinstance(errors, list) and errors and all("pointer" in entry for entry in errors):
        return None
    return f"{seen.summary} without errors that have a pointer"


CHECKS: Mapping[str, Check] = MappingProxyType(
    {**SHARED, "one_created": _one_created, "names_faults": _names_faults}
)


class ReceiverRunner:
    """Delivers to one receiver; each run delivers other quotes, as the receiver keeps them.

    Parameters
    ----------
    address
        Of the receiver.
    """

    def __init__(self, address: Address) -> None:
        self.address = address
        self.run = secrets.token_hex(6)
        self.sent: list[tuple[str, bytes]] = []
        self.case = ""

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
            Nothing answers at the address.
        """
        first = self.address.send("GET", "/capabilities", self._headers({}))
        if first.error:
            raise UsageError(f"the receiver gives {first.error}")
        for case in cases:
            self.case, self.sent = case.key, []
            run_steps(case, self._perform, CHECKS, Context("receiver"), ledger)

    def _headers(self, step: Mapping[str, Any]) -> dict[str, str]:
        headers = {"Accept": f"{JSON}, {PROBLEM}"}
        if step.get("token", True):
            if self.address.token:
                headers["Authorization"] = f"Bearer {self.address.token}"
        elif not self.address.token:
            raise UnexercisedError("no token is given (--token-file)")
        return {**headers, **step.get("headers", {})}

    def _perform(self, step: Mapping[str, Any], context: Context) -> list[Seen]:
        headers = self._headers(step)
        if "get" in step:
            return [self.address.send(step.get("method", "GET"), step["get"], headers)]
        path, body = self._delivery(step)
        headers = {"Content-Type": JSON} | headers
        method = step.get("method", "PUT")
        if "at_once" not in step:
            return [self.address.send(method, path, headers, body)]
        with ThreadPoolExecutor(step["at_once"]) as pool:
            sent = [
                pool.submit(self.address.send, method, path, headers, body)
                for _ in range(step["at_once"])
            ]
            context.at_once = [each.result() for each in sent]
        return context.at_once[:1]

    def _delivery(self, step: Mapping[str, Any]) -> tuple[str, bytes]:
        if step.get("again"):
            return self.sent[-1]
        title = f"Conformance {self.run} {self.case} {step.get('quote', '')}".strip()
        made = delivery(step["deliver"], title)
        body = step["raw"].encode() if "raw" in step else made.body
        self.sent.append((made.path, body))
        return self.sent[-1]
