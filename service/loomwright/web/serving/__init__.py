"""The server process: clients that are slow, and more requests than can be answered in time."""
