"""Records to judged lights: correction, verdict, history, the sum of all lights, evidence against a reading."""
