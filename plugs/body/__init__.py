"""The body of a plug: its mating faces, its opinions on volume, its proofs."""
