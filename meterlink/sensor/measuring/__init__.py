"""Samples to measurements: calibration, flash analysis, choice of range."""
