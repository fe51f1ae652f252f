"""A caller that prices a job and hands the quote on: ``python caller.py URL [--receiver URL]``.

A sample to start from. It needs Python alone. It sends the job of a file, or an invented one,
prints what a shop needs to see, and delivers the bill to a receiver if one is named. The exit
status is 0 if all was answered and recorded, 1 if something was refused or nobody answered.
"""

import argparse
import hashlib
import http.client
import json
import sys
import time
import uuid
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

GREATEST_TRIES = 5
FIRST_PAUSE_S = 0.25
LONGEST_WAIT_S = 120.0
# Where a repetition can help; 0 stands for no answer.
REPEATED = (0, 408, 429, 500, 502, 503, 504)
JOB: dict[str, Any] = {
    "title": "Heron panel van: work light",
    "vehicle": {
        "description": "Heron panel van (invented)",
        "drive": "combustion",
        "system_voltage": 12,
    },
    "conductors": {"series": "metric", "material": "copper", "insulation": "pvc_105"},
    "power_sources": [
        {
            "key": "battery",
            "description": "Starter battery",
            "tap_point": "battery",
            "source_voltage": 12.6,
            "source_resistance": 0.008,
        }
    ],
    "equipment": [
        {
            "key": "light",
            "description": "work light",
            "what": "lights",
            "reference": "DEMO-LIGHT",
            "circuit": "light_feed",
            "load_current": 6,
        }
    ],
    "circuits": [
        {
            "key": "light_feed",
            "description": "Battery to work light",
            "fed_from": "battery",
            "route": [{"length": 3.0, "zone": "passenger_compartment"}],
            "return_path": {"by": "conductor"},
            "fuse_types": ["iso_8820_3_c"],
            "distance_from_source": 0.15,
            "source_end": "M8",
            "load_end": "splice",
        }
    ],
}


class RefusedError(Exception):
    """What was asked for is not there; the message says why."""


class Service:
    """One address, and how to send to it."""

    def __init__(self, url: str, key: str = "", timeout_s: float = 30.0) -> None:
        parts = urlsplit(url)
        self.secure = parts.scheme == "https"
        self.host, self.port, self.base = parts.hostname or "", parts.port, parts.path.rstrip("/")
        self.key = key
        self.timeout_s = timeout_s

    def sent(self, method: str, path: str, body: bytes) -> bytes:
        """Return the body of a good answer; wait and repeat where that can help."""
        headers = {
            "Content-Type": "application/json",
            "Accept": "application/json, application/problem+json",
            "X-Request-Id": str(uuid.uuid4()),
        }
        if self.key:
            headers["Authorization"] = f"Bearer {self.key}"
        pause_s = FIRST_PAUSE_S
        for tries in range(1, GREATEST_TRIES + 1):
            status, answered, content = self._once(method, self.base + path, headers, body)
            if status in (200, 201):
                return content
            wait_s, pause_s = pause_s, 2 * pause_s
            stated = answered.get("retry-after", "")
            if stated.isdigit():
                wait_s = float(stated)
            final = status not in REPEATED or wait_s > LONGEST_WAIT_S
            if final or tries == GREATEST_TRIES:
                break
            time.sleep(wait_s)
        raise RefusedError(refusal(status, content))

    def _once(
        self, method: str, path: str, headers: Mapping[str, str], body: bytes
    ) -> tuple[int, dict[str, str], bytes]:
        """Send once, follow no redirect; status 0 if nobody answered."""
        kind = http.client.HTTPSConnection if self.secure else http.client.HTTPConnection
        connection = kind(self.host, self.port, timeout=self.timeout_s)
        try:
            connection.request(method, path, body, dict(headers))
            response = connection.getresponse()
            named = {name.lower(): text for name, text in response.getheaders()}
            return response.status, named, response.read()
        except (OSError, http.client.HTTPException) as error:
            return 0, {}, str(error).encode()
        finally:
            connection.close()


def refusal(status: int, content: bytes) -> str:
    """Return what a person needs to know of a refusal: the status decides, the texts are shown."""
    if status == 0:
        return f"no answer: {content.decode()}"
    try:
        problem = json.loads(content)
    except ValueError:
        return f"status {status}"
    lines = [f"status {status} {problem.get('code', '')}: {problem.get('detail', '')}"]
    lines += [f"  {fault['pointer']}: {fault['message']}" for fault in problem.get("errors", ())]
    return "\n".join(lines)


def shown(bill: Mapping[str, Any]) -> str:
    """Return what a shop needs to see of a bill."""
    lines = [f"{bill['title']}: {bill['verdict']}"]
    lines += [
        f"  {line['quantity']} {line['description']}  {line['total']}" for line in bill["lines"]
    ]
    lines += [f"  not priced: {entry['description']}" for entry in bill["unpriced"]]
    lines.append(f"  total {bill['total']} {bill['currency']}")
    lines += [f"  caution {entry['key']}: {entry['text']}" for entry in bill["cautions"]]
    return "\n".join(lines)


def delivery(bill: bytes, reference: str) -> tuple[str, bytes]:
    """Return path and body of a delivery; the bill's bytes are passed on unchanged, and last."""
    quote_id = hashlib.sha256(bill).hexdigest()
    envelope = {"specification": "1.0", "quote_id": quote_id, "reference": reference}
    return f"/quotes/{quote_id}", json.dumps(envelope).encode()[:-1] + b',"bill":' + bill + b"}"


def main(service_kind: type[Service] = Service) -> int:
    """Price a job, show the bill, deliver it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("url")
    parser.add_argument("--receiver")
    parser.add_argument("--key", default="")
    parser.add_argument("--timeout-s", type=float, default=30.0)
    parser.add_argument("--job", type=Path)
    chosen = parser.parse_args()
    job = json.loads(chosen.job.read_text("utf-8")) if chosen.job else JOB
    service = service_kind(chosen.url, chosen.key, chosen.timeout_s)
    try:
        body = json.dumps({"job": job}).encode()
        bill = service.sent("POST", "/v1/build-bill-of-materials", body)
        print(shown(json.loads(bill)))
        if chosen.receiver:
            receiver = service_kind(chosen.receiver, timeout_s=chosen.timeout_s)
            receiver.sent("PUT", *delivery(bill, "sample"))
            print("delivered")
    except RefusedError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
