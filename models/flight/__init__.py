"""The numerical flight; it shares no formula with the planning."""
