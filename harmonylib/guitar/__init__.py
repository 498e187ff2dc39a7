"""Where it lies: grips, fingers, the neck and what a hand reaches on it."""
