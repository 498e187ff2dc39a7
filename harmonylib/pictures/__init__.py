"""One picture of the neck, and the charts of a tune, drawn with matplotlib."""
