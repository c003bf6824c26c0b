"""Codes and numbers to sentences."""
