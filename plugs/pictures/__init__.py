"""Pictures of a plug."""
