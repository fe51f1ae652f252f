"""The forms in which an answer is given: JSON, one value as text, CSV, XML."""
