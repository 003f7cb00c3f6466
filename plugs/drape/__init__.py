"""How far a weave shears to lie on a surface."""
