"""What the service would start with: each setting as it stands, without its secrets.

``python -m loomwright.web.effective_settings`` prints it for the environment, or the faults.
"""

import os
import re
import sys
from collections.abc import Mapping
from typing import Any

from loomwright.web.settings import KEYS, OPEN, Settings, SettingsError
from loomwright.web.settings_table import PREFIX, SETTINGS, settings_from

# Name and password of an address, and the values of its query, in which clients take passwords too.
_USER = re.compile(r"(?<=://).*@")
_VALUE = re.compile(r"(?<==)[^&#]*")
HIDDEN = "(redacted)"


def redacted_settings(settings: Settings) -> dict[str, str]:
    """Return the settings by name of their variable, as text that may be shown.

    Parameters
    ----------
    settings
        Checked.

    Returns
    -------
    dict
        In the order of ``SETTINGS``; empty text for what is off. Of addresses, name and password
        and all values of the query are replaced.
    """
    values = {each.field: getattr(settings, each.field) for each in SETTINGS}
    # What stands in place of nothing.
    values["bind"] = settings.listens_on
    values["workers"] = settings.worker_count
    values["access"] = KEYS if settings.needs_keys else OPEN
    return {each.name: _shown(values[each.field]) for each in SETTINGS}


def settings_line(settings: Settings) -> str:
    """Return what differs from the defaults in one line, secrets redacted."""
    plain = redacted_settings(Settings())
    stated = [
        f"{name.removeprefix(PREFIX).lower()}={text}"
        for name, text in redacted_settings(settings).items()
        if text != plain[name]
    ]
    return f"settings: {' '.join(stated) or 'as they are without any'}"


def _shown(value: Any) -> str:
    if isinstance(value, tuple):
        return ",".join(_shown(each) for each in value)
    text = "" if value is None else str(value)
    if "://" not in text:
        return text
    address, mark, query = _USER.sub(f"{HIDDEN}@", text).partition("?")
    return f"{address}{mark}{_VALUE.sub(HIDDEN, query)}"


def main(environment: Mapping[str, str]) -> int:
    """Print the effective settings of an environment, or what is wrong with it.

    Parameters
    ----------
    environment
        Variables by name.

    Returns
    -------
    int
        0, or 1 where the service would not start.
    """
    try:
        settings = settings_from(environment)
    except SettingsError as error:
        sys.stderr.writelines(f"loomwright: {fault}\n" for fault in error.faults)
        return 1
    sys.stdout.writelines(f"{name}={text}\n" for name, text in redacted_settings(settings).items())
    return 0


if __name__ == "__main__":
    sys.exit(main(os.environ))
