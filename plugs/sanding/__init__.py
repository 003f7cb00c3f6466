"""What a plug is sanded with, and how recesses are made on it."""
