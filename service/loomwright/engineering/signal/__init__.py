"""Signal paths: take-off, level, sums, remote turn-on and ground noise."""
