"""Pages for a browser: what serves them, and those on the interface and on the specification."""
