"""Incident metering of a studio set: from a sensor's bytes to the ratio table.

The picture of the house is in DEVELOPERS.md.  This module stays empty of imports on purpose: a one-shot
command must not pay for what it does not use.
"""

__version__ = "0.1.0"
