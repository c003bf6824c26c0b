"""Pure formulas of light: exposure, sources, receptors, flash, colour, uncertainty.

Nothing here imports any other part of the package.
"""
