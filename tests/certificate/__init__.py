"""Tests of the proof that goes with an answer."""
