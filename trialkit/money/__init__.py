"""What edges cost, which decision that supports, and what to order for next season."""
