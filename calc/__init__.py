"""Engineering and statistics of cutting edges: pure, without any knowledge of the service around it."""
