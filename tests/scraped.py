"""What a scrape of the metrics holds, and waiting until it holds what is expected."""

import time
import urllib.request
from collections.abc import Callable

from prometheus_client.parser import text_string_to_metric_families

Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]
LONGEST_WAIT_S = 10.0


def samples_of(text: str) -> Samples:
    """Return the values of an exposition by name and sorted labels."""
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def scraped(url: str) -> Samples:
    """Return what is served at an address."""
    with urllib.request.urlopen(url, timeout=10) as answer:
        assert answer.status == 200
        assert answer.headers["Content-Type"].startswith("text/plain; version=")
        return samples_of(answer.read().decode())


def total(samples: Samples, name: str, **labels: str) -> float:
    """Return the sum over all samples of a name with some labels."""
    wanted = set(labels.items())
    return sum(
        value for (each, held), value in samples.items() if each == name and wanted <= {*held}
    )


def await_scrape(url: str, holds: Callable[[Samples], bool]) -> Samples:
    """Scrape until something holds; what was scraped last where it never does."""
    deadline = time.monotonic() + LONGEST_WAIT_S
    while True:
        samples = scraped(url)
        if holds(samples) or time.monotonic() > deadline:
            return samples
        time.sleep(0.1)
