"""The kernel engine, in a process of its own."""
