"""Commands by hand, and the demo shop."""
