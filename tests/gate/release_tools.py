"""What the tests of a release read: the scripts of ``deploy/release`` and the lock."""

import importlib
import re
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
sys.path.append(str(DEPLOY / "release"))
PLACES = importlib.import_module("version")
LICENCES = importlib.import_module("licences")
VERSION: str = PLACES.current_version()


def locked_names() -> list[str]:
    """Names of the packages that the service is served with."""
    lock = (DEPLOY / "requirements.lock").read_text("utf-8")
    return re.findall(r"^([a-z0-9-]+)==", lock, re.MULTILINE)
