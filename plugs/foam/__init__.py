"""From a body to the foam that is cut and glued."""
