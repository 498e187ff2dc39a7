"""The commands that need a file of their own, and what all of them share."""
