"""Materials, plies, resin, the part: what is weighed and bought."""
