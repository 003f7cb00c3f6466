"""What lies over the foam: the foam's lines under the finished ones, and the proof of it."""
