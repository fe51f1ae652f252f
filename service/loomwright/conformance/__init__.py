"""The plugin specification as data, its lint, and the runner that judges plugins by it."""
