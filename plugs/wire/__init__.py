"""What a straight wire cuts: pairs and rulings, the machine, its program, and the program read back."""
