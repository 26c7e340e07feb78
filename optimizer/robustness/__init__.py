"""What errors of launch, burns and readings do to a plan, and what to load for them."""
