"""Many plans beside each other: strategies, sweeps, slips."""
