"""Tests of the house itself: layers, docs, names, shape."""
