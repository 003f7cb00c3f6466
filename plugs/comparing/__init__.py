"""How far the real thing is from the plug: what was measured, laid on it, told and drawn."""
