"""The sample caller with faults put in on purpose; ``broken.json`` says what they break."""

import sys
import time
import uuid
from collections.abc import Mapping
from typing import Any

import caller

MOST_TRIES = 7
PAUSE_S = 0.25


class BrokenService(caller.Service):
    """Repeats whatever is refused, never looks how long to wait, has its own place for the key."""

    def sent(self, method: str, path: str, body: bytes) -> bytes:
        """Repeat until it is answered well."""
        headers = {
            "Content-Type": "application/json",
            "X-Request-Id": str(uuid.uuid4()),
            "X-Key": self.key,
        }
        status, content = 0, b""
        for _ in range(MOST_TRIES):
            status, _, content = self._once(method, self.base + path, headers, body)
            if status in (200, 201):
                return content
            time.sleep(PAUSE_S)
        raise caller.RefusedError(caller.refusal(status, content))


def shown(bill: Mapping[str, Any]) -> str:
    """Show the total alone."""
    return f"{bill['title']}: {bill['total']} {bill['currency']}"


def delivery(bill: bytes, reference: str) -> tuple[str, bytes]:
    """Change the bill on its way."""
    return right_delivery(bill.replace(b'"lines":', b'"lines": '), reference)


right_delivery = caller.delivery

if __name__ == "__main__":
    caller.shown = shown
    caller.delivery = delivery
    sys.exit(caller.main(BrokenService))
