"""From a sensor's URL to measurements: link, dialect, measuring."""
