"""What things are called, once for the whole house: ways round the plug, and words of recipes from before."""
