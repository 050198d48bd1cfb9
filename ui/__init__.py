"""Command line and page: read, call the optimizer, show."""
