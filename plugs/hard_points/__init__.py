"""Boards, plates and other foam let into the foam, or laid between plies, where something is fixed."""
