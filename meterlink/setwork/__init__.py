"""What is made of readings: correction and verdict, ratio table, sum check, prediction, evenness, findings."""
