"""Every English text that documents for people and their drawings can say, as the code has it."""

from pathlib import Path

from babel.messages.extract import extract_from_dir

import loomwright
from loomwright.engineering.cautions import CAUTIONS

# How the code marks a text for translation, or says it.
KEYWORDS = {"marked": None, "say": None, "_say": None}


def texts_of_documents():
    """Return the texts, each once, those of the engineering's cautions behind the others."""
    folder = Path(loomwright.__file__).parent
    found = extract_from_dir(folder, [("**.py", "python")], keywords=KEYWORDS)
    return dict.fromkeys([*(message for _, _, message, _, _ in found), *CAUTIONS.values()])
