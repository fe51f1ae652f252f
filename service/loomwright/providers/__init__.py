"""Price books that plugins serve, over HTTP or in process."""
