"""Bytes to frames to samples, one file per dialect, without any input or output of its own."""
