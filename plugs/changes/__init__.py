"""What changed since foam was cut: builds kept, compared piece by piece, and told."""
