"""What the shop has learnt of its edges, and what it expects of those in use."""
