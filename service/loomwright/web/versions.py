"""The version policy: which versions of the interface there are, and how long each is served.

A version is the first part of a path. It only gains members and operations; anything else is a new
version beside it. A version that is to go is deprecated first and served for a year more at least.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

LEAST_NOTICE = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class Version:
    """A version of the interface; times are with an offset, none while there is no plan."""

    name: str
    deprecated: datetime | None = None
    sunset: datetime | None = None
    successor: str | None = None

    def __post_init__(self) -> None:
        """Refuse an end without notice (RFC 9745, 4: the sunset is not before the deprecation)."""
        if self.sunset is not None and (
            self.deprecated is None or self.sunset - self.deprecated < LEAST_NOTICE
        ):
            raise ValueError(f"{self.name} would end without a year's notice")

    def headers(self) -> dict[str, str]:
        """Return the headers that every answer of the version carries.

        Returns
        -------
        dict
            ``Deprecation`` (RFC 9745), ``Sunset`` (RFC 8594) and ``Link`` to the successor; nothing
            while the version is current.
        """
        found = {}
        if self.deprecated is not None:
            found["Deprecation"] = f"@{int(self.deprecated.timestamp())}"
        if self.sunset is not None:
            found["Sunset"] = format_datetime(self.sunset.astimezone(UTC), usegmt=True)
        if self.successor is not None:
            found["Link"] = f'</{self.successor}/openapi.json>; rel="successor-version"'
        return found


VERSIONS = (Version("v1"),)
