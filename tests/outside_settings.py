"""Settings of the tests themselves, which the service would refuse as none of its own.

A variable that begins with ``LOOMWRIGHT_`` and is no setting of the service stops its start, so
these are renamed before anything is served. Processes that are started later have the new names.
"""

import os

CHROMIUM, ARTEFACTS = "TESTS_CHROMIUM", "TESTS_ARTEFACTS"


def set_aside() -> None:
    """Rename ``LOOMWRIGHT_CHROMIUM`` and ``LOOMWRIGHT_ARTEFACTS`` in the environment."""
    for name in (CHROMIUM, ARTEFACTS):
        stated = os.environ.pop(name.replace("TESTS_", "LOOMWRIGHT_"), "")
        if stated:
            os.environ[name] = stated
