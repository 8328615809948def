"""An invented trial with known true rates, and the column dictionary."""
