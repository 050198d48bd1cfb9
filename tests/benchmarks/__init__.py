"""Timings and comparisons that are run by hand."""
