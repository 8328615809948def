"""What was recorded: from files to typed tables, what is wrong with them, and which readings belong together."""
