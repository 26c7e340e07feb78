"""What is chosen: options, schedule, front, refinement."""
