"""Hearing: whether the asked grip was played, what is off when it was not, and whether the guitar is in tune."""
