"""What is wrong with a batch as a whole, so that none of its items can be read on."""

from collections.abc import Mapping

NOT_UTF_8 = "not_utf_8"
MALFORMED_JSON = "malformed_json"
DUPLICATE_MEMBER = "duplicate_member"
MALFORMED_CSV = "malformed_csv"
MALFORMED_ARROW = "malformed_arrow"
MALFORMED_PARQUET = "malformed_parquet"
MALFORMED_GZIP = "malformed_gzip"
UNKNOWN_COLUMN = "unknown_column"
WRONG_SHAPE = "wrong_shape"
UNKNOWN_FORM = "unknown_form"
TOO_LARGE = "too_large"
TOO_MANY_PACKAGES = "too_many_packages"
TOO_MANY_VEHICLES = "too_many_vehicles"
TOO_MANY_PAIRS = "too_many_pairs"

FORM_ERRORS: Mapping[str, str] = {
    NOT_UTF_8: "Bytes are not UTF-8.",
    MALFORMED_JSON: "Not JSON (RFC 8259), or no object in a line of NDJSON.",
    DUPLICATE_MEMBER: "JSON in which a member name stands twice in one object.",
    MALFORMED_CSV: "Not CSV (RFC 4180), or rows that do not fit their header.",
    MALFORMED_ARROW: "Not an Arrow IPC stream, or one that ends too early.",
    MALFORMED_PARQUET: "Not a Parquet file, or a broken one.",
    MALFORMED_GZIP: "Not gzip (RFC 1952), or a stream that ends too early.",
    UNKNOWN_COLUMN: "A column that stands for no member.",
    WRONG_SHAPE: "JSON, but not in the shape of a batch.",
    UNKNOWN_FORM: "No form of that name, or a file whose name tells no form.",
    TOO_LARGE: "More bytes than the limit, once they are unpacked.",
    TOO_MANY_PACKAGES: "More packages than the limit.",
    TOO_MANY_VEHICLES: "More vehicles than the limit.",
    TOO_MANY_PAIRS: "More listed pairs than the limit.",
}


class FormError(ValueError):
    """A batch that cannot be read, with what would be accepted.

    Parameters
    ----------
    code
        One of ``FORM_ERRORS``.
    message
        What is wrong and what would be accepted, in sentences.
    place
        Where, such as ``line 3``; empty where it is the whole.
    pointers
        JSON pointers of the members at fault, as far as there are any.
    """

    def __init__(
        self, code: str, message: str, place: str = "", pointers: tuple[str, ...] = ()
    ) -> None:
        super().__init__(f"{place}: {message}" if place else message)
        self.code = code
        self.message = message
        self.place = place
        self.pointers = pointers
