"""Answers as plain tables of words and numbers, for JSON, the command line and the page."""
