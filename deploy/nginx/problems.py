"""Write what the proxy itself refuses, as the service's own problem documents.

Run from the project's root as ``PYTHONPATH=service python deploy/nginx/problems.py``; a test holds
both files to what this makes.
"""

from pathlib import Path

import orjson

from loomwright.web.problems import CODE_OF_STATUS, MEDIA_TYPE, problem_document

FOLDER = Path(__file__).parent
UNREAD = "The request was refused before it was read."
UNANSWERED = "No instance of the service answered; the same request may be sent again."
# Statuses that nginx answers by itself, and the codes of those that the service never answers.
DETAILS = {
    **dict.fromkeys((400, 404, 405, 408, 413, 414, 431, 501, 505), UNREAD),
    **dict.fromkeys((500, 502, 503, 504), UNANSWERED),
}
CODES = {**CODE_OF_STATUS, 502: "internal_error", 503: "internal_error", 504: "internal_error"}
# nginx has a number of its own for header fields that are too large.
NUMBERS_OF_NGINX = {431: 494}
MADE = "# Made by problems.py"


def texts() -> dict[str, str]:
    """Return the text of each file by its name."""
    pages = [f"{MADE}: which refusal is answered by which document of problems.conf."]
    places = [f"{MADE}: problem documents (RFC 9457) of what the proxy itself refuses.", ""]
    for status, detail in DETAILS.items():
        number = NUMBERS_OF_NGINX.get(status, status)
        changed = "" if number == status else f" ={status}"
        pages.append(f"error_page {number}{changed} /_refused/{status};")
        document = problem_document(CODES.get(status, "http_error"), detail, status=status)
        text = orjson.dumps(document).decode("ascii")
        places += [
            f"location = /_refused/{status} {{",
            "    internal;",
            f"    default_type {MEDIA_TYPE};",
            "    add_header Cache-Control no-store always;",
            "    add_header X-Request-Id $loomwright_request_id always;",
            f"    return {status} '{text}';",
            "}",
        ]
    return {
        "error_pages.conf": "\n".join(pages) + "\n",
        "problems.conf": "\n".join(places) + "\n",
    }


if __name__ == "__main__":
    for name, text in texts().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
