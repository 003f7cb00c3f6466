"""Every figure of a build."""
