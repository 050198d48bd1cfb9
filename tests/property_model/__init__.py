"""Tests of the property chain."""
