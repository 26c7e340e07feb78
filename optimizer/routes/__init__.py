"""One file a route: the ways a craft takes to its slot."""
