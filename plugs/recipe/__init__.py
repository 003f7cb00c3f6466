"""The recipe: read, run, its words checked once."""
