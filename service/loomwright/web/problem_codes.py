"""The one table of problem codes: what each means and what the caller can do."""

from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class ProblemCode:
    """Status, title and what the caller can do.

    ``operation`` names the one operation that answers so where no other has the code.
    """

    status: int
    title: str
    action: str
    operation: str = ""


CODES = MappingProxyType(
    {
        "invalid_request": ProblemCode(
            422, "The request is not valid", "Mend each field named in errors and send again."
        ),
        "malformed_body": ProblemCode(
            400, "The body is not JSON", "Send one JSON object in UTF-8, without NaN or infinity."
        ),
        "duplicate_parameter": ProblemCode(
            400, "A query parameter is given twice", "Give each query parameter once."
        ),
        "bad_request": ProblemCode(400, "The request is malformed", "Mend the request line."),
        "not_found": ProblemCode(404, "No such resource", "Look up the paths in the OpenAPI file."),
        "method_not_allowed": ProblemCode(
            405, "The method is not allowed here", "Use a method of the Allow header."
        ),
        "not_acceptable": ProblemCode(
            406, "No form of the answer is acceptable", "Accept one of the media types named."
        ),
        "body_too_large": ProblemCode(
            413, "The body is too large", "Send at most 1 MiB, to price-packages 16 MiB."
        ),
        "batch_too_large": ProblemCode(
            413, "The batch is too large", "Send it in parts, each within the limit named."
        ),
        "malformed_coding": ProblemCode(
            400, "The body is not of its coding", "Send one whole gzip file, or the body as it is."
        ),
        "malformed_records": ProblemCode(
            400, "The body is not of its media type", "Mend what detail names, by line or row."
        ),
        "unsupported_coding": ProblemCode(
            415, "The content coding is not supported", "Send the body as gzip, or as it is."
        ),
        "uri_too_long": ProblemCode(414, "The address is too long", "Use POST with a JSON body."),
        "request_timeout": ProblemCode(
            408, "The request did not arrive in time", "Send the whole request without a pause."
        ),
        "unsupported_media_type": ProblemCode(
            415, "The media type is not supported", "Send a Content-Type that detail names."
        ),
        "expectation_failed": ProblemCode(
            417, "The expectation cannot be met", "Send no Expect header but 100-continue."
        ),
        "headers_too_large": ProblemCode(
            431, "The header fields are too large", "Send fewer or shorter header fields."
        ),
        "too_many_requests": ProblemCode(
            429, "Too many requests", "Wait for the seconds of Retry-After, then send again."
        ),
        "not_implemented": ProblemCode(
            501, "The transfer coding is unknown", "Send Content-Length, or chunks."
        ),
        "http_error": ProblemCode(400, "The request was refused", "See the status."),
        "internal_error": ProblemCode(
            500, "The service failed", "Send again; report it with the request if it persists."
        ),
        # The operator's file or the issuer's keys are at fault: not the caller's doing, so a 503.
        "access_unavailable": ProblemCode(
            503, "Keys cannot be checked", "Wait for Retry-After; tell the operator if it persists."
        ),
        # To whoever probes: the operator's files are at fault, and requests would meet that.
        "not_ready": ProblemCode(
            503,
            "The service is not ready",
            "Send no requests here; mend what errors names.",
            operation="ready",
        ),
        "ambient_above_insulation_rating": ProblemCode(
            422, "The place is too hot for the insulation", "Choose a higher insulation rating."
        ),
        "ambient_not_below_rating": ProblemCode(
            422, "The place is too hot for the insulation", "Choose a higher insulation rating."
        ),
        "ambient_outside_model": ProblemCode(
            422, "The ambient is outside the model", "Give an ambient inside the range named."
        ),
        "answer_too_long": ProblemCode(
            422, "The answer is too long for a cell", "Name a part with field, or ask for JSON."
        ),
        "bill_not_complete": ProblemCode(
            422, "The bill leaves something open", "Complete the job or the price book first."
        ),
        "circuit_not_sized": ProblemCode(
            422, "A circuit has no conductor", "Correct the circuit named, or leave it out."
        ),
        "deposit_above_total": ProblemCode(
            422, "The deposit is above the total", "Ask for at most the total."
        ),
        "discount_above_total": ProblemCode(
            422, "The discount is above the total", "Give at most the sum of the lines."
        ),
        "drive_above_full": ProblemCode(
            422, "The drive is above full output", "Ask for at most the full output."
        ),
        "efficiency_above_class_maximum": ProblemCode(
            422, "The efficiency is impossible for the class", "Check the measurement or the class."
        ),
        "efficiency_required": ProblemCode(
            422, "The class has no usual efficiency", "Give the measured efficiency."
        ),
        "emf_below_cranking_voltage": ProblemCode(
            422,
            "The source voltage is below that of the cold-cranking test",
            "Check voltage and number of batteries in series.",
        ),
        "fuse_required": ProblemCode(
            422, "No fuse rating is given", "Give the rating of each fuse."
        ),
        "heat_balance_not_converged": ProblemCode(
            422, "The heat balance has no solution", "Lower the current or the ambient."
        ),
        "incomplete_pair": ProblemCode(422, "Half of a pair is missing", "Give both or neither."),
        "key_expired": ProblemCode(
            401, "The key is not in force", "Use a key that is valid today; ask the operator."
        ),
        "key_misplaced": ProblemCode(
            400, "The key stands in the wrong place", "Send it as Authorization: Bearer alone."
        ),
        "key_not_accepted": ProblemCode(
            401, "The key is not accepted", "Check the key; ask the operator for another."
        ),
        "key_not_permitted": ProblemCode(
            403, "The key may not do this", "Use another key or ask for less."
        ),
        "key_required": ProblemCode(
            401, "A key is needed", "Send Authorization: Bearer with a key."
        ),
        "network_not_joined": ProblemCode(
            422,
            "Parts of the network hang on nothing",
            "Join each named node by a branch or a source.",
        ),
        "no_operating_point": ProblemCode(
            422, "The loads ask for more than the sources deliver", "Switch on less at a time."
        ),
        "no_resistance_in_fault_circuit": ProblemCode(
            422,
            "Nothing limits the fault current",
            "Give the source a resistance or a current limit.",
        ),
        "no_size_large_enough": ProblemCode(
            422, "No listed size is large enough", "Use parallel runs or another series."
        ),
        "one_of_required": ProblemCode(
            422, "One of two fields is missing", "Give one of the fields named."
        ),
        "only_one_of": ProblemCode(
            422, "Two fields exclude each other", "Give one of the fields named."
        ),
        "operating_point_not_converged": ProblemCode(
            422, "The operating point was not found", "Lower the load."
        ),
        "out_of_range": ProblemCode(
            422, "A value is out of range", "Give a value inside the range named."
        ),
        "overloaded": ProblemCode(
            503, "There is too much to do", "Wait for Retry-After, then send again."
        ),
        "package_without_lines": ProblemCode(
            422, "A package price has no lines", "Complete the price book or leave it out."
        ),
        "paperwork_missing": ProblemCode(
            422, "A document needs more than the bill", "Give what errors names, or ask for JSON."
        ),
        # The operator's file is at fault and no change to the request helps; once it is mended, the
        # same request is answered. That is a 503, not a 4xx.
        "price_book_faulty": ProblemCode(
            503, "The mounted price book cannot be used", "Tell the operator what errors names."
        ),
        "price_book_not_valid": ProblemCode(
            422, "The price book does not hold on this day", "Use another book or another day."
        ),
        "provider_faulty": ProblemCode(
            503, "What a provider sends cannot be used", "Tell the operator what errors names."
        ),
        "provider_unavailable": ProblemCode(
            503, "A provider cannot be asked now", "Wait as Retry-After says and send again."
        ),
        "temperature_outside_model": ProblemCode(
            422, "A temperature is outside the model", "Give a temperature inside the range named."
        ),
        "too_many_coils": ProblemCode(
            422, "There are too many voice coils", "Ask for the drivers of one channel."
        ),
        "too_many_wirings": ProblemCode(
            422, "There are too many ways to wire", "Ask for fewer unlike drivers at once."
        ),
        "unknown_converter": ProblemCode(
            422, "The converter is unknown", "Give one of the converters named."
        ),
        "unknown_difficulty": ProblemCode(
            422, "The difficulty factor is unknown", "Give one of the price book."
        ),
        "unknown_fuse_type": ProblemCode(
            422, "The fuse type is unknown", "Give one of the types named."
        ),
        "unknown_placement_rule": ProblemCode(
            422, "The placement rule is unknown", "Give one of the rules named."
        ),
        "unknown_price_book": ProblemCode(
            422, "No price book has this name", "Give one of the names listed, or send a book."
        ),
        "unknown_provider": ProblemCode(
            422, "No provider has this name", "Give one of the names listed, or send a book."
        ),
        "value_out_of_range": ProblemCode(
            422, "A value is out of range", "Give a value inside the range named."
        ),
    }
)


def codes_of(operation: str, status: int) -> list[str]:
    """Return the codes that an operation can answer with under a status.

    Parameters
    ----------
    operation
        Its name.
    status
        HTTP status.

    Returns
    -------
    list of str
        Those that are its own; where it has none, those that belong to no single operation.
    """
    found = [key for key, code in CODES.items() if code.status == status]
    own = [key for key in found if CODES[key].operation == operation]
    return own or [key for key in found if not CODES[key].operation]
