"""The one root of errors raised by the engineering core."""

from typing import Any


class EngineeringError(ValueError):
    """A request that the models cannot answer, with what would be accepted.

    Parameters
    ----------
    code
        Stable key of the error, listed in ``loomwright.web.problem_codes.CODES``.
    message
        One sentence: what is wrong, the limit, and what to try.
    field
        Name of the argument at fault, if one is.
    attributes
        Value, limit, and for a solver iterations and residual.
    """

    def __init__(
        self, code: str, message: str, *, field: str | None = None, **attributes: Any
    ) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.field = field
        self.attributes = attributes
