"""The build book as a browser shows it."""
