"""The stages of the work, each a function of checked words and of stages before it."""
