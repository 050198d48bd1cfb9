"""Tests of command line, card and page."""
