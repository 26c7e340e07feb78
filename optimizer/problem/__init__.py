"""What is asked: the ring with its phase, who moves, the ways up; what an option is, and which are possible."""
