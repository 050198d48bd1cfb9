"""Tests of sweeps: scenarios, files that survive anything, crews of workers."""
