"""The kinds of exercise: a class that names its `kind` registers itself; the catalogue imports every file here."""
