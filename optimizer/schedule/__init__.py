"""One option for each craft at the least cost: the integer program and how it is solved."""
