"""A simulated sensor and a simulated set: first steps without hardware, demo and tests."""
