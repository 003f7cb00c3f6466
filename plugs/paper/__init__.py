"""Full-size paper."""
