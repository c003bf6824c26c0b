"""Judged lights to rows of numbers: ratios, targets, match, compare."""
