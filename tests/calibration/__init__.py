"""Checks of the calibration."""
