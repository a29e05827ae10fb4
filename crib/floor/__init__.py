"""What is cutting: operations, assemblies, pockets, edges and runs."""
