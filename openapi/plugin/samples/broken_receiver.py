"""The sample receiver with faults put in on purpose; ``broken.json`` says what they break."""

from collections.abc import Sequence
from typing import Any

import receiver


class Amount(float):
    """Money in binary floating point, equal within half a cent."""

    def __add__(self, other: float) -> "Amount":
        return Amount(float(self) + float(other))

    def __sub__(self, other: float) -> "Amount":
        return Amount(float(self) - float(other))

    def __ne__(self, other: object) -> bool:
        return not isinstance(other, float) or abs(float(self) - float(other)) > 0.005

    def __eq__(self, other: object) -> bool:
        return not self != other

    __hash__ = float.__hash__


class BrokenHandler(receiver.Handler):
    """Takes any media type, records repetitions anew, and changes what is on record."""

    def routed(self, body: bytes) -> tuple[int, dict[str, Any]]:
        """Add a member of its own to the capabilities, without the prefix."""
        status, document = super().routed(body)
        if document is receiver.CAPABILITIES:
            document = {**document, "colour": "red"}
        return status, document

    def deliver(self, path_id: str, body: bytes) -> tuple[int, dict[str, Any]]:
        """Take any media type, and answer each repetition as if it were the first."""
        self.headers.replace_header("Content-Type", "application/json")
        _, document = super().deliver(path_id, body)
        return 201, document

    def send(
        self,
        status: int,
        media_type: str,
        document: dict[str, Any],
        headers: Sequence[receiver.Pair] = (),
    ) -> None:
        """Answer what was refused as a conflict as if it had been recorded."""
        if status == 409:
            status, media_type, document = 200, "application/json", {}
        super().send(status, media_type, document, headers)


if __name__ == "__main__":
    vars(receiver)["Decimal"] = Amount
    receiver.main(BrokenHandler)
