"""Physics and values: what exists. Knows nothing of choosing."""
