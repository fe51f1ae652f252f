"""Settings of an application under test."""

import hashlib
from dataclasses import replace
from typing import Any

from flask import Flask

from loomwright.web.app import create_app
from loomwright.web.settings import Settings, current_settings, keep_settings


def create_with(**settings: Any) -> Flask:
    """Return the service under some settings, the others as they are without any."""
    return create_app(Settings(**settings))


def change_settings(app: Flask, **settings: Any) -> None:
    """Give an application other settings of what is looked up in each request."""
    with app.app_context():
        keep_settings(app, replace(current_settings(), **settings))


def key_entry(key: str, *scopes: str, identifier: str = "test", more: str = "") -> str:
    """Return an entry of a file of keys."""
    digest = hashlib.sha256(key.encode()).hexdigest()
    return f'[[keys]]\nid = "{identifier}"\nsha256 = "{digest}"\nscopes = {list(scopes)}\n{more}\n'
