"""Lessons: what a chapter asks for in one line, and the edit cell that no wrong value stops."""
