"""What is made of readings: correction and verdict, the ratio table, checks, targets, match."""
