"""The commands: their options, what each one asks of the planner, and one way to deliver every answer."""
