"""Recesses, cuts right through and bosses: where they stand, and what they hold."""
