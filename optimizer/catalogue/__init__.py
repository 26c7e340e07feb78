"""Every way that each craft could take, as columns."""
