"""What is not as it should be in a set: each finding with its numbers and what to do."""
