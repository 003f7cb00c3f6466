"""What every room stands on: errors, units, what a word of a recipe may hold, processes."""
