"""What sounds when, plucked strings, and something to listen to."""
