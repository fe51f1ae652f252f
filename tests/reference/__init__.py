"""How far the project's own copies of published tables are held by checks against their sources."""
