"""Commands that have a file of their own; `harmonylib.__main__` lists them all."""
