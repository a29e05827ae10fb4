"""What the shop owns and makes: designs, materials, machines, suppliers, jobs."""
