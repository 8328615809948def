"""What a plowing shift does to the operator: sound and whole-body vibration."""
