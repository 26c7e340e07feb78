"""What to do from here, when things did not go as planned."""
