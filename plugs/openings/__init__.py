"""Openings in the laminate: scribed on the foam, laid over, and cut out when it is hard."""
