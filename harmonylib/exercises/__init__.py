"""Questions that know their answers and say what is wrong with yours."""
