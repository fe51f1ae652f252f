"""Forms in which batches come in and rows go out."""
