"""Bytes to frames to samples, one file per dialect, without any input or output of its own.

``base`` is the contract; ``native`` speaks the project's own format (``shared/wire/wire-v1.md``).
"""
