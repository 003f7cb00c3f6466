"""What the commands say on a terminal."""
