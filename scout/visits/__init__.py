"""What was done: the notebook of visits, the tally, locations in logs."""
