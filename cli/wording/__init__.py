"""How figures, findings and results are worded for people."""
