"""From a surface to what is laid up on it: plies, resin, cloth, weight, cost and cautions."""
