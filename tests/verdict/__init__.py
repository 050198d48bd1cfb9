"""Tests of what judges a mix."""
