"""Tests of the search and of what it answers."""
