"""Which of the options make the best plan, what else there is, and the price of time."""
