"""What must be bought: plans, demand, flags, suggestions and orders."""
