"""Tests of vesselblend."""
