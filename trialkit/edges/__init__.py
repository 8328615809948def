"""How cutting edges wear and how long they last."""
