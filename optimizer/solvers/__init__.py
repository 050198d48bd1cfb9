"""Solver adapters: rows and functions in, points and a status of our own out."""
